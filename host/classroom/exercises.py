"""Exercises of a desk: made, handed out, planted, begun, answered, marked and closed."""

import contextlib
import threading
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from typing import Any

from calibration.contract.orders import Action, AnswerState
from calibration.contract.readings import Insertion, ReadingPack
from host.classroom.exercise import (
    Answer,
    Attempt,
    ExerciseSettings,
    ExerciseState,
    Kind,
    advance,
    state_of,
)
from host.classroom.exercise_log import exercise_in
from host.classroom.nameable import NOTHING
from host.classroom.planted_box import APART
from host.errors import DeskError
from host.live import Live, StationState
from host.order_book import OrderBook
from host.people.account import Account, roles_text
from host.people.role import Role
from host.procedures.event import Event
from host.procedures.logged import events_of
from host.procedures.run_kind import RunKind
from host.procedures.runs_at_work import RunsAtWork
from host.procedures.sender.sender_check_start import SenderCheckWish
from host.procedures.sender.sender_check_state import Phase
from host.store import Store

#: Wall time in which a rig answers an order, or the planting is said to have failed. [s]
_ANSWERS_WITHIN_S = 10.0
#: Rig time after which it would come too late. [s]
_NOT_AFTER_S = 600.0
STOPPED_BY_HAND = "Stopped by the student."
STOPPED_BY_CLOSING = "The exercise was closed while this check went on."
#: Stations at which a fault is planted at a time: each may take its while to answer. A choice of ours.
_AT_A_TIME = 8

_lock = threading.RLock()


class ExerciseError(DeskError):
    """Something that cannot be done with an exercise; says what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """An exercise by its number."""

    number: int
    state: ExerciseState


class Exercises:
    """What instructor's and students' pages do with exercises.

    Parameters
    ----------
    store : Store
    live : Live
    book : OrderBook
    runs : RunsAtWork
    """

    def __init__(self, *, store: Store, live: Live, book: OrderBook, runs: RunsAtWork) -> None:
        self._store, self._live, self._book, self._runs = store, live, book, runs

    def all(self) -> list[Exercise]:
        """Every exercise, the newest first."""
        return [self.get(run.number) for run in reversed(self._store.runs.of_kind(RunKind.EXERCISE))]

    def of_student(self, account: int) -> list[Exercise]:
        """Exercises of one student, the newest first."""
        return [one for one in self.all() if account in one.state.attempts]

    def get(self, number: int) -> Exercise:
        """One exercise.

        Raises
        ------
        ExerciseError
            If there is none of that number.
        """
        state = exercise_in(self._store, number)
        if state is None:
            raise ExerciseError(f"There is no exercise {number:04d}. Choose one from the list.")
        return Exercise(number=number, state=state)

    def make(self, settings: ExerciseSettings) -> int:
        """Make an exercise; its number."""
        number = self._store.runs.create(
            station=None, kind=RunKind.EXERCISE, settings={"item": settings.title, "curve": settings.curve}
        )
        self._append(number, Kind.MADE, {"settings": settings.as_json()})
        return number

    def assign(self, number: int, account: Account) -> None:
        """Hand an exercise to a student; handing it out again changes nothing.

        Raises
        ------
        ExerciseError
            If the person has a role that sees what was planted, or it is closed.
        """
        if account.roles != {Role.STUDENT} or account.disabled:
            disabled = ", and disabled" if account.disabled else ""
            raise ExerciseError(
                f"{account.name} is {roles_text(account.roles)}{disabled}: an exercise goes to who is a "
                "student and nothing else, since every other role sees what was planted."
            )
        with _lock:
            if account.number not in self._open(number).attempts:
                self._append(number, Kind.ASSIGNED, {"account": account.number, "name": account.name})

    def plant(self, number: int, station: str) -> str:
        """Plant the fault at a station; words of what went wrong, empty where nothing did.

        Where nothing could be ordered, a fault that is planted there already stays so.
        """
        with _lock:
            state = self._open(number)
        made = state.made
        if made.stations and station not in made.stations:
            raise ExerciseError(f"This exercise is not for {station}.")
        trouble = self._why_not(made, station)
        if trouble and station in state.open_stations:
            return trouble
        trouble = trouble or self._planted(made, station, number)
        kind = Kind.NOT_PLANTED if trouble else Kind.PLANTED
        with _lock:
            self._open(number)
            self._append(number, kind, {"station": station} | ({"reason": trouble} if trouble else {}))
        return trouble

    def plant_at(self, number: int, stations: Iterable[str]) -> dict[str, str]:
        """Plant the fault at several stations at once; by station, words of what went wrong.

        A station that does not answer keeps none of the others waiting.
        """
        wanted = list(dict.fromkeys(stations))
        with ThreadPoolExecutor(max_workers=_AT_A_TIME, thread_name_prefix="planting") as pool:
            return dict(zip(wanted, pool.map(lambda one: self.plant(number, one), wanted), strict=True))

    def begin(self, number: int, account: int, station: str) -> int:
        """Begin the sender check of a student; its run. Pressed twice, it is the same run.

        Raises
        ------
        DeskError
            If it cannot begin; says what to do.
        """
        with _lock:
            state = self._open(number)
            attempt = _attempt(state, number, account)
            if attempt.answer is not None:
                raise ExerciseError("You have answered this exercise: it is done once.")
            if attempt.run is not None and not self.may_begin_again(attempt):
                return attempt.run
            if station not in state.open_stations:
                raise ExerciseError(
                    f"This exercise is not open at {station or 'that station'}: choose one of the list, or "
                    "ask your instructor."
                )
            run = self._runs.start_check(_wish(number, state.made, attempt.name, station))
            self._append(number, Kind.BEGUN, {"account": account, "station": station, "run": run})
            return run

    def stop_run(self, run: int) -> None:
        """Stop a student's sender check; it may be begun again."""
        self._runs.stop_run(run, STOPPED_BY_HAND)

    def answer(self, number: int, account: int, answer: Answer) -> None:
        """Take a student's one answer.

        Raises
        ------
        ExerciseError
            If nothing was measured yet, or it was answered before.
        """
        with _lock:
            attempt = _attempt(self._open(number), number, account)
            if attempt.answer is not None:
                raise ExerciseError("You have answered this exercise: it is answered once.")
            if not self.may_answer(number, attempt):
                raise ExerciseError("Measure first: the answer comes after the sender check.")
            self._append(number, Kind.ANSWERED, {"account": account, "answer": asdict(answer)})

    def mark(self, number: int, account: int, *, share: float, words: str, by: str) -> None:
        """Mark the sentence of a student; a later mark takes the place of an earlier one.

        Raises
        ------
        ExerciseError
            If there is no answer of that student.
        """
        with _lock:
            attempt = self.get(number).state.attempts.get(account)
            if attempt is None or attempt.answer is None:
                raise ExerciseError("There is no answer of that student to be marked.")
            payload = {"account": account, "share": share, "words": words, "by": by}
            self._append(number, Kind.MARKED, payload)

    def close(self, number: int) -> None:
        """Close an exercise: nobody begins or answers it any more, and no bench keeps the fault.

        Its checks that go on are stopped. Closing it again changes nothing.
        """
        with _lock:
            state = self.get(number).state
            if state.is_closed:
                return
            self._append(number, Kind.CLOSED, {})
            self._store.runs.end(number)
        freed = set(self._stop_runs(state))
        for station in state.planted_at.keys() - freed:
            self._take_box_away(station, number)

    def planted_at(self, station: str) -> tuple[int, ...]:
        """Exercises that are open and planted at a station, whatever it is that was planted."""
        numbers = [run.number for run in self._store.runs.open(RunKind.EXERCISE)]
        return tuple(number for number in numbers if station in self.get(number).state.open_stations)

    def may_begin_again(self, attempt: Attempt) -> bool:
        """Whether the last sender check of a student came to nothing."""
        return attempt.run is None or self._runs.view(attempt.run).state.phase is Phase.STOPPED

    def may_answer(self, number: int, attempt: Attempt) -> bool:
        """Whether a student has measured: to a result, or to where the bench itself gave up."""
        if self.get(number).state.made.readings:
            return True
        if attempt.run is None:
            return False
        state = self._runs.view(attempt.run).state
        return state.is_over and state.reason != STOPPED_BY_HAND

    def _stop_runs(self, state: ExerciseState) -> Iterator[str]:
        """Stop the checks of an exercise that go on; the stations, each of which its run leaves as it was."""
        for attempt in state.attempts.values():
            if attempt.run is None or attempt.station is None:
                continue
            if self._runs.open_run_of(attempt.station) == attempt.run:
                with contextlib.suppress(DeskError):  # it came to its end just now, which frees the bench too
                    self._runs.stop_run(attempt.run, STOPPED_BY_CLOSING)
                yield attempt.station

    def _take_box_away(self, station: str, number: int) -> None:
        """Order the box out of the circuit, unless somebody else measures there or has planted there.

        The same relays move whatever was planted.
        """
        latest = self._live.latest(station)
        if latest is None or self._runs.open_run_of(station) is not None or self.planted_at(station):
            return
        for place in (APART, Insertion.NONE):
            self._book.send(
                station=station,
                boot=latest.boot,
                do=Action.SET_INSERTION.value,
                fields={"insertion": place.value},
                run=str(number),
                not_after_s=latest.rig_time_s + _NOT_AFTER_S,
            )

    def _why_not(self, made: ExerciseSettings, station: str) -> str:
        """Why nothing can be ordered at a station just now, in words; empty where it can."""
        heard = self._live.station(station)
        latest = None if heard is None else heard.latest
        if heard is None or latest is None:
            return f"{station} has sent no reading yet: switch the rig on, then plant again."
        if heard.state is not StationState.LIVE:
            return f"{station} is {heard.words}: look at the rig, then plant again."
        busy = self._runs.open_run_of(station)
        if busy is not None:
            return f"{station} is busy with run {busy:04d}: stop that one first, then plant again."
        if made.box is None and made.fault != NOTHING and not latest.simulated:
            return (
                f"{station} is a real bench, and this fault can be planted by name in simulation only: make "
                "the exercise anew with the decade box, or hang a faulty sender in by hand."
            )
        return ""

    def _planted(self, made: ExerciseSettings, station: str, number: int) -> str:
        latest = self._live.latest(station)
        if latest is None:
            return f"{station} has sent no reading yet: switch the rig on, then plant again."
        return self._ordered(latest, number, *_planting(made, is_simulated=latest.simulated))

    def _ordered(self, latest: ReadingPack, number: int, *orders: tuple[Action, Mapping[str, Any]]) -> str:
        """Give orders one after the other; what went wrong, in words."""
        for do, fields in orders:
            order = self._book.send(
                station=latest.station,
                boot=latest.boot,
                do=do.value,
                fields=dict(fields),
                run=str(number),
                not_after_s=latest.rig_time_s + _NOT_AFTER_S,
            )
            answer = self._book.wait(order, _ANSWERS_WITHIN_S)
            if answer is None:
                self._book.withdraw(order)
                return (
                    f"{latest.station} gave no answer for {_ANSWERS_WITHIN_S:.0f} s: look at the rig, then "
                    "plant again."
                )
            if answer.state is not AnswerState.DONE:
                return f"{latest.station} did not do it: {answer.reason}"
        return ""

    def _open(self, number: int) -> ExerciseState:
        state = self.get(number).state
        if state.is_closed:
            raise ExerciseError(f"Exercise {number:04d} is closed.")
        return state

    def _append(self, number: int, kind: Kind, payload: Mapping[str, Any]) -> None:
        """Append an event: first the state that it would lead to, then the store."""
        events = events_of(self._store, number)
        advance(state_of(events), Event(kind=kind, payload=payload))
        self._store.runs.append(number, kind, dict(payload), after=len(events))


def _planting(made: ExerciseSettings, *, is_simulated: bool) -> Iterator[tuple[Action, Mapping[str, Any]]]:
    """Orders that plant a fault: as many, and as many relays heard, whatever it is.

    A relay that moves is seen at the probe as well, which a student may be reading.
    """
    if is_simulated:
        yield Action.HANDS, {"do": "fit_sender", "plant": made.plant}
    yield Action.SET_INSERTION, {"insertion": APART.value}
    yield Action.SET_DECADE, {"resistance_ohm": 0.0 if made.box is None else made.box.decade_ohm}
    place = Insertion.NONE if made.box is None else made.box.insertion
    yield Action.SET_INSERTION, {"insertion": place.value}


def _attempt(state: ExerciseState, number: int, account: int) -> Attempt:
    attempt = state.attempts.get(account)
    if attempt is None:
        raise ExerciseError(f"There is no exercise {number:04d} of yours.")
    return attempt


def _wish(number: int, made: ExerciseSettings, student: str, station: str) -> SenderCheckWish:
    return SenderCheckWish(
        station=station,
        item=f"Exercise {number:04d}: {made.title}",
        curve=made.curve,
        set_points_c=made.set_points_c,
        limit_k=made.limit_k,
        operator=student,
        move_connector=made.move_connector,
        course=made.course,
        exercise=number,
    )
