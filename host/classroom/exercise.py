"""An exercise as a pure procedure: ``advance(state, event) -> state``.

Made by an instructor, planted at stations, begun and answered by each student once, marked, closed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from enum import StrEnum
from typing import Any

from calibration.diagnosis import DeadCircuit
from host.classroom.nameable import FAULTS, NOTHING, NameableFault
from host.classroom.planted_box import PlantedBox
from host.procedures.event import Event
from host.procedures.sender.sender_check_settings import Course

#: What a meter shows where there is no resistance to be read.
METER_SHOWS = {DeadCircuit.OPEN: "OL", DeadCircuit.SHORT: "0"}


class Way(StrEnum):
    """How a fault is planted."""

    BY_NAME = "by_name"  # simulated silicon: the sender that is fitted has it
    ON_PAPER = "on_paper"  # without a rig: a table of readings
    BY_BOX = "by_box"  # the decade box in series or across the sender, by relay: metal and simulation


class Kind(StrEnum):
    """Events of an exercise."""

    MADE = "made"  # settings
    ASSIGNED = "assigned"  # account, name
    PLANTED = "planted"  # station
    NOT_PLANTED = "not_planted"  # station, reason
    BEGUN = "begun"  # account, station, run
    ANSWERED = "answered"  # account, answer
    MARKED = "marked"  # account, share of the credit for the sentence, words, by
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Credits:
    """Credit for naming, size and reasoning; they sum to 100."""

    naming: int = 40
    size: int = 40
    reasoning: int = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedPoint:
    """What a meter showed at one temperature of an exercise without a rig.

    Attributes
    ----------
    temperature_c : float
        [°C]
    resistance_ohm : float or None
        None where none could be read. [Ω]
    circuit : DeadCircuit or None
        Open or short where the meter showed that; beside a resistance where it showed both by turns.
    """

    temperature_c: float
    resistance_ohm: float | None = None
    circuit: DeadCircuit | None = None

    @property
    def shown(self) -> tuple[str, ...]:
        """All that the meter showed, one after the other."""
        ohm = () if self.resistance_ohm is None else (f"{self.resistance_ohm:g}",)
        return ohm if self.circuit is None else (*ohm, METER_SHOWS[self.circuit])

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "TypedPoint":
        """From the first event; one of before knew of no dead circuit."""
        circuit = content.get("circuit")
        return cls(**{**content, "circuit": None if circuit is None else DeadCircuit(circuit)})


@dataclass(frozen=True, slots=True, kw_only=True)
class ExerciseSettings:
    """What an exercise was made as.

    Attributes
    ----------
    title, question : str
        As a student reads them.
    curve : str
        Reference curve by name.
    set_points_c : tuple[float, ...]
        Of the sender check. [°C]
    limit_k : float or None
        Where the curve was printed without a tolerance. [K]
    move_connector : bool
    course : Course
        How the bath is taken through the set points.
    fault : str
        What is planted, a key of `FAULTS`.
    size : float
        [unit of the fault]
    way : Way
    tolerance_percent : float
        How far an answered size may be off for full credit, of the planted one. [%]
    credits : Credits
    stations : tuple[str, ...]
        Where it may be done; empty for any.
    readings : tuple[TypedPoint, ...]
        Of an exercise without a rig; empty where the student reads a bench.
    made_by : str
    doubt : str
        What the instructor was told before, where the desk itself would not name the fault; else empty.
    """

    title: str
    question: str
    curve: str
    set_points_c: tuple[float, ...] = (30.0, 60.0, 85.0)
    limit_k: float | None = None
    move_connector: bool = False
    fault: str = NOTHING
    size: float = 1.0
    way: Way = Way.BY_NAME
    tolerance_percent: float = 20.0
    credits: Credits = field(default_factory=Credits)
    stations: tuple[str, ...] = ()
    readings: tuple[TypedPoint, ...] = ()
    made_by: str = ""
    doubt: str = ""
    course: Course = Course.PLATEAUS

    @property
    def planted(self) -> NameableFault:
        """The fault."""
        return FAULTS[self.fault]

    @property
    def plant(self) -> str | None:
        """The fault in the words of a simulated rig; None where nothing is planted by name."""
        if self.way is not Way.BY_NAME or not self.planted.plant:
            return None
        return f"{self.planted.plant}:{self.size:g}"

    @property
    def box(self) -> PlantedBox | None:
        """Where the decade box stands in for the fault; None where it does not."""
        insertion = self.planted.box
        if self.way is not Way.BY_BOX or insertion is None:
            return None
        ohms = self.size * (1000.0 if self.planted.unit == "kΩ" else 1.0)
        return PlantedBox(insertion=insertion, decade_ohm=float(round(ohms)))

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "ExerciseSettings":
        """From the first event."""
        known = {one.name for one in fields(cls)}
        kept = {name: value for name, value in content.items() if name in known}
        kept["set_points_c"] = tuple(float(point) for point in kept["set_points_c"])
        kept["stations"] = tuple(kept["stations"])
        kept["readings"] = tuple(TypedPoint.from_json(point) for point in kept.get("readings", ()))
        kept["credits"] = Credits(**kept["credits"])
        kept["way"] = Way(kept["way"])
        kept["course"] = Course(kept.get("course", Course.PLATEAUS))
        return cls(**kept)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a student answered, once.

    Attributes
    ----------
    fault : str
        A key of `FAULTS`.
    size : float or None
        As written. [unit]
    unit : str
        One of `UNITS`; empty where no size was written.
    sentence : str
        Why.
    """

    fault: str
    size: float | None = None
    unit: str = ""
    sentence: str = ""

    @property
    def words(self) -> str:
        """Fault and size as they were answered."""
        size = "" if self.size is None else f", {self.size:g} {self.unit}"
        return f"{FAULTS[self.fault].words}{size}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SentenceMark:
    """What the instructor gave for the sentence: a share of its credit, 0 to 1, and words."""

    share: float
    words: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One student's way through an exercise.

    Attributes
    ----------
    account : int
    name : str
    station : str or None
    runs : tuple[int, ...]
        Sender checks that were begun, the last one counts.
    answer : Answer or None
    mark : SentenceMark or None
    """

    account: int
    name: str
    station: str | None = None
    runs: tuple[int, ...] = ()
    answer: Answer | None = None
    mark: SentenceMark | None = None

    @property
    def run(self) -> int | None:
        """The sender check that counts."""
        return self.runs[-1] if self.runs else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ExerciseState:
    """All there is to know of an exercise; made of its events alone.

    Attributes
    ----------
    settings : ExerciseSettings or None
        None before the first event.
    attempts : Mapping[int, Attempt]
        By account.
    planted_at : Mapping[str, str]
        Stations at which it was planted, each with what went wrong; empty words where nothing did.
    is_closed : bool
    """

    settings: ExerciseSettings | None = None
    attempts: Mapping[int, Attempt] = field(default_factory=dict)
    planted_at: Mapping[str, str] = field(default_factory=dict)
    is_closed: bool = False

    @property
    def made(self) -> ExerciseSettings:
        """Settings of an exercise that was made."""
        if self.settings is None:
            raise ValueError("This exercise has no first event: it was never made.")
        return self.settings

    @property
    def open_stations(self) -> tuple[str, ...]:
        """Stations at which it is planted and may be begun."""
        return tuple(sorted(station for station, trouble in self.planted_at.items() if not trouble))


def advance(state: ExerciseState, event: Event) -> ExerciseState:
    """State after an event.

    Raises
    ------
    ValueError
        If the event cannot follow: a fault of the program.
    """
    kind, payload = Kind(event.kind), event.payload
    if (kind is Kind.MADE) != (state.settings is None):
        raise ValueError(f"{kind.value} cannot stand there in the log of an exercise")
    if state.is_closed and kind is not Kind.MARKED:
        raise ValueError(f"{kind.value} cannot follow in an exercise that is closed")
    match kind:
        case Kind.MADE:
            return replace(state, settings=ExerciseSettings.from_json(payload["settings"]))
        case Kind.ASSIGNED:
            account = int(payload["account"])
            if account in state.attempts:
                raise ValueError("this student has the exercise already")
            return _with(state, Attempt(account=account, name=payload["name"]))
        case Kind.PLANTED | Kind.NOT_PLANTED:
            trouble = payload["reason"] if kind is Kind.NOT_PLANTED else ""
            return replace(state, planted_at={**state.planted_at, payload["station"]: trouble})
        case Kind.BEGUN:
            attempt = _unanswered(state, payload)
            runs = (*attempt.runs, int(payload["run"]))
            return _with(state, replace(attempt, station=payload["station"], runs=runs))
        case Kind.ANSWERED:
            attempt = _unanswered(state, payload)
            return _with(state, replace(attempt, answer=Answer(**payload["answer"])))
        case Kind.MARKED:
            attempt = state.attempts[int(payload["account"])]
            if attempt.answer is None:
                raise ValueError("nothing is marked before it was answered")
            mark = SentenceMark(share=float(payload["share"]), words=payload["words"], by=payload["by"])
            return _with(state, replace(attempt, mark=mark))
        case Kind.CLOSED:
            return replace(state, is_closed=True)


def state_of(events: Iterable[Event]) -> ExerciseState:
    """State that a log of events leads to."""
    state = ExerciseState()
    for event in events:
        state = advance(state, event)
    return state


def _with(state: ExerciseState, attempt: Attempt) -> ExerciseState:
    return replace(state, attempts={**state.attempts, attempt.account: attempt})


def _unanswered(state: ExerciseState, payload: Mapping[str, Any]) -> Attempt:
    attempt = state.attempts[int(payload["account"])]
    if attempt.answer is not None:
        raise ValueError("an exercise is answered once")
    return attempt
