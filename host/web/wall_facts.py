"""What the wall asks of the store: once for all who look at it, and seldom."""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from calibration.conformity import Verdict
from host.classroom.exercise_log import planted_box_of
from host.classroom.planted_box import PlantedBox
from host.procedures.run_kind import RunKind
from host.store import Store
from host.store.runs import Run

#: Wall time for which an answer of the store serves every page that asks. [s]
SERVES_S = 2.0

_WORDS = {verdict.value: verdict for verdict in Verdict}


@dataclass(frozen=True, slots=True, kw_only=True)
class LastRun:
    """The last run of a station that is over.

    Attributes
    ----------
    run : int
    kind : str
    verdict : Verdict or None
        Where it came to one; None of an exercise, as a student's answer is in it and a wall is read by all.
    is_exercise : bool
    is_withdrawn : bool
        Whether its newest certificate was withdrawn: the verdict no longer holds.
    """

    run: int
    kind: str
    verdict: Verdict | None
    is_exercise: bool = False
    is_withdrawn: bool = False

    @property
    def word(self) -> str:
        """What came of it."""
        if self.is_withdrawn:
            return "certificate withdrawn"
        if self.verdict is not None:
            return self.verdict.words
        if self.is_exercise:
            return "exercise over"
        return "stopped" if self.kind == RunKind.SENDER_CHECK else "over"


@dataclass(frozen=True, slots=True, kw_only=True)
class WallFacts:
    """What the store knows of the stations.

    Attributes
    ----------
    last : Mapping[str, LastRun]
        By station.
    others : Mapping[str, Run]
        By station: an open run that the desk does not lead (an infrared check, a witness check).
    newest_event_utc_s : Mapping[int, float]
        When each open run last came on. [s]
    boxes : Mapping[int, PlantedBox or None]
        By exercise: where the decade box stands in for its fault.
    """

    last: Mapping[str, LastRun] = field(default_factory=dict)
    others: Mapping[str, Run] = field(default_factory=dict)
    newest_event_utc_s: Mapping[int, float] = field(default_factory=dict)
    boxes: Mapping[int, PlantedBox | None] = field(default_factory=dict)


class WallMemory:
    """Answers of the store, kept for a moment: many who look are one who asks.

    Parameters
    ----------
    store : Store
    wall_s : callable
        Monotonic wall time. [s]
    """

    def __init__(self, store: Store, *, wall_s: Callable[[], float] = time.monotonic) -> None:
        self._store = store
        self._wall_s = wall_s
        self._lock = threading.Lock()
        self._asked_s: float | None = None
        self._facts = WallFacts()
        self._known: tuple[tuple[int, ...], frozenset[int]] = ((), frozenset())

    def facts(self) -> WallFacts:
        """What the store knew a moment ago."""
        with self._lock:
            now_s = self._wall_s()
            if self._asked_s is None or now_s - self._asked_s >= SERVES_S:
                self._facts = self._ask()
                self._asked_s = now_s
            return self._facts

    def _ask(self) -> WallFacts:
        ended = self._store.runs.newest_ended()
        known = tuple(run.number for run in ended), self._store.certificates.withdrawn_runs()
        # Papers are many, and a run that is over keeps its verdict until it is withdrawn: they are read then.
        last = self._facts.last if known == self._known else self._last(ended, known[1])
        self._known = known
        others = [run for run in self._store.runs.open() if run.kind != RunKind.SENDER_CHECK]
        return WallFacts(
            last=last,
            others={run.station: run for run in others if run.station is not None},
            newest_event_utc_s=self._store.runs.newest_events_utc_s(),
            boxes=self._boxes(),
        )

    def _last(self, ended: list[Run], withdrawn: frozenset[int]) -> Mapping[str, LastRun]:
        verdicts = self._store.drafts.verdicts() | self._store.certificates.verdicts()
        return {
            run.station: _last_run(run, verdicts.get(run.number, ""), is_withdrawn=run.number in withdrawn)
            for run in ended
            if run.station is not None
        }

    def _boxes(self) -> Mapping[int, PlantedBox | None]:
        """Boxes of the exercises whose runs are open; an exercise keeps what it was made as."""
        exercises = {
            int(run.settings["exercise"])
            for run in self._store.runs.open(RunKind.SENDER_CHECK)
            if run.settings.get("exercise") is not None
        }
        known = self._facts.boxes
        return {
            number: known[number] if number in known else planted_box_of(self._store, number)
            for number in exercises
        }


def _last_run(run: Run, verdict: str, *, is_withdrawn: bool) -> LastRun:
    is_exercise = run.settings.get("exercise") is not None
    return LastRun(
        run=run.number,
        kind=run.kind,
        verdict=None if is_exercise else _WORDS.get(verdict),
        is_exercise=is_exercise,
        is_withdrawn=is_withdrawn,
    )
