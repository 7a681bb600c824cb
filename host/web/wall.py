"""Rows of the classroom wall: every station with its work, trouble first.

The whole room reads it, so that nothing on it tells what was planted: the bench of an exercise is seen as its
student sees it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from enum import StrEnum

from host.classroom.planted_box import Sight
from host.live import StationLive, StationState
from host.procedures.run_kind import RunKind
from host.procedures.runs_at_work import RunView
from host.procedures.sender.sender_check_state import Phase
from host.procedures.sender.trials import TRIAL_STEPS, TRIAL_WORDS
from host.station_thermometers import StationThermometers
from host.web.desk_behind import DeskBehind
from host.web.station_now import StationNow, natural, station_now
from host.web.wall_facts import LastRun, WallFacts

#: A bath that warms by less than this has no heater on. [K/min]
HEATS_FROM_K_PER_MIN = 0.5

_KIND_WORDS = {
    RunKind.INFRARED_CHECK: "infrared check",
    RunKind.WITNESS_CHECK: "witness check",
    RunKind.CHANNEL_CHECK: "ohms channel",
}
_PHASE_WORDS = {
    Phase.LOOP: "one heating",
    Phase.CONTACT: "move the connector",
    Phase.CHOOSING: "choose the curve",
    Phase.JUDGING: "result in a moment",
}


class Standing(StrEnum):
    """How a station stands, in the order in which the wall shows them; the value is the word it shows."""

    SILENT = "silent"
    TROUBLE = "trouble"
    HANDS = "needs hands"
    WAITING = "waiting"
    RUNNING = "running"
    IDLE = "idle"

    @property
    def of_several(self) -> str:
        """The word where several stations stand so."""
        return "need hands" if self is Standing.HANDS else self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class WallRow:
    """One station on the wall.

    Attributes
    ----------
    now : StationNow
    standing : Standing
    run : int or None
        Run that it is at.
    step : str
        Where that run stands, in a word or two; empty where there is none.
    of_steps : str
        The same in numbers.
    who : str
        Who is at the station; empty where nobody said.
    item : str
        What is checked there.
    exercise : int or None
        Exercise that its run is of.
    since_s : float or None
        Wall time since that run last came on. [s]
    trouble : tuple[str, ...]
    has_died : bool
        True where it is simulated and its rig ended by itself.
    last : LastRun or None
        Newest run that is over.
    """

    now: StationNow
    standing: Standing
    run: int | None
    step: str
    of_steps: str
    who: str
    item: str
    exercise: int | None
    since_s: float | None
    trouble: tuple[str, ...]
    has_died: bool
    last: LastRun | None

    @property
    def station(self) -> str:
        """Its id."""
        return self.now.station

    @property
    def run_address(self) -> str:
        """Page of its run; every kind of run is found from there."""
        return f"/runs/{self.run}"

    @property
    def waited(self) -> str:
        """For how long the run stands where it stands, in words; empty where it just came on."""
        return "" if self.since_s is None else waited_words(self.since_s)


def waited_words(since_s: float) -> str:
    """Time in words of a wall: nobody reads seconds from the back row."""
    minutes = int(since_s // 60.0)
    if minutes < 1:
        return ""
    return f"for {minutes} min" if minutes < 60 else f"for {minutes // 60} h {minutes % 60:02d} min"


def wall_rows(
    desk: DeskBehind,
    facts: WallFacts,
    *,
    thermometers: Mapping[str, StationThermometers],
    zone: tzinfo | None,
) -> list[WallRow]:
    """Every station of the desk, trouble first; touches no database."""
    views: dict[str, RunView] = {}
    for view in desk.runs.views():
        # a run that waits for its curve or its paper needs no bench: one that does goes before it
        if view.station not in views or view.needs_bench:
            views[view.station] = view
    now_utc_s = desk.store.now()
    rows = []
    for live in desk.live.stations():
        view = views.get(live.station)
        now = station_now(desk, _as_all_may_see(live, view, facts), thermometers.get(live.station), zone)
        rows.append(_row(desk, now, view, facts, now_utc_s))
    return sorted(rows, key=_order)


def summary_of(rows: Sequence[WallRow]) -> str:
    """How many stations stand how, the worst first."""
    counts = {standing: sum(row.standing is standing for row in rows) for standing in Standing}
    said = ", ".join(
        f"{count} {standing.value if count == 1 else standing.of_several}"
        for standing, count in counts.items()
        if count
    )
    return f"{len(rows)} station{'' if len(rows) == 1 else 's'}: {said}" if rows else "No station"


def _row(
    desk: DeskBehind, now: StationNow, view: RunView | None, facts: WallFacts, now_utc_s: float
) -> WallRow:
    other = facts.others.get(now.station)
    trouble = _trouble(desk, now, view)
    room = desk.simulated_room
    run, step, of_steps, who, item = None, "", "", "", ""
    if view is not None:
        run, step = view.run, _step(view)
        of_steps = f"step {view.card.step} of {view.card.steps}"
        who, item = view.state.started.operator, view.state.started.item
    elif other is not None:
        run, step = other.number, _KIND_WORDS.get(other.kind, "at work")
        who, item = str(other.settings.get("operator", "")), str(other.settings.get("item", ""))
    came_on_s = None if run is None else facts.newest_event_utc_s.get(run)
    return WallRow(
        now=now,
        standing=_standing(now, view, trouble, is_at_work=run is not None),
        run=run,
        step=step,
        of_steps=of_steps,
        who=who,
        item=item,
        exercise=None if view is None else view.exercise,
        since_s=None if came_on_s is None else max(0.0, now_utc_s - came_on_s),
        trouble=trouble,
        has_died=room is not None and room.has_died(now.station),
        last=facts.last.get(now.station),
    )


def _as_all_may_see(live: StationLive, view: RunView | None, facts: WallFacts) -> StationLive:
    """A station with the newest reading as the student of its exercise sees it."""
    if view is None or view.is_ohms_check or live.latest is None:
        return live
    exercise = view.exercise
    if exercise is None:
        return live
    sight = Sight(box=facts.boxes.get(exercise), heated_from=view.state.heated_from)
    return replace(live, latest=sight.of(live.latest))


def _trouble(desk: DeskBehind, now: StationNow, view: RunView | None) -> tuple[str, ...]:
    """Trouble of this station; what concerns the whole desk is said once, above the rows."""
    of_desk = (desk.live.trouble, desk.live.notice)
    words = [said for said in now.live.trouble if said not in of_desk]
    if view is not None:
        is_exercise = view.exercise is not None
        said = desk.runs.student_card(view.run).trouble if is_exercise else view.card.trouble
        words += [said] if said is not None and said not in words else []
    return tuple(words)


def _standing(
    now: StationNow, view: RunView | None, trouble: tuple[str, ...], *, is_at_work: bool
) -> Standing:
    if now.live.state is not StationState.LIVE:
        return Standing.SILENT
    if trouble:
        return Standing.TROUBLE
    if view is None:
        return Standing.RUNNING if is_at_work else Standing.IDLE
    if _is_heating(view):
        return Standing.WAITING
    if view.card.is_hands_turn:
        return Standing.HANDS
    if view.is_ohms_check:
        return Standing.RUNNING
    is_reading = view.state.opened_at is not None or view.state.phase is Phase.OHMS_CHECK
    return Standing.RUNNING if is_reading or view.state.is_moving else Standing.WAITING


def _is_heating(view: RunView) -> bool:
    """Tell whether the bath is on its way to the set point that the card asks for."""
    if view.is_ohms_check or view.state.phase is not Phase.PLATEAUS or view.bath_slope_k_per_min is None:
        return False
    return view.card.is_hands_turn and view.bath_slope_k_per_min >= HEATS_FROM_K_PER_MIN


def _step(view: RunView) -> str:
    state = view.state
    if view.is_ohms_check:
        return "ohms check"
    match state.phase:
        case Phase.FITTING:
            return "setting up" if state.is_fitted else "fit the sender"
        case Phase.OHMS_CHECK:
            return "ohms check"
        case Phase.PLATEAUS:
            point = f"{state.set_point_c:g} °C"
            if state.opened_at is not None:
                return f"reading {point}"
            if not view.card.is_hands_turn:
                return f"settling at {point}"
            return f"heating to {point}" if _is_heating(view) else f"set heater to {point}"
        case Phase.TRIALS:
            step = state.trial_step
            return "trials" if step is None else TRIAL_WORDS[TRIAL_STEPS[step].trial]
        case phase:
            return _PHASE_WORDS.get(phase, phase.value)


def _order(row: WallRow) -> tuple[int, bool, float, list[tuple[bool, int, str]]]:
    """Trouble first; of the same trouble who is at work and waits longest, then by name."""
    return (
        list(Standing).index(row.standing),
        row.run is None,
        -(row.since_s or 0.0) if row.standing in (Standing.SILENT, Standing.TROUBLE, Standing.HANDS) else 0.0,
        natural(row.station),
    )
