"""A round as a pure procedure: ``advance(state, event) -> state``.

One artefact goes to every station, and each gives its result. Nothing that came is ever dropped: the first
result of a station counts, one that came late or again counts only once a person has said so and why, and a
station that cannot be had is left out with a reason.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from calibration.station_round import StatedValue
from host.citation import Citation
from host.people.account import name_key
from host.procedures.event import Event, led_to
from host.procedures.rounds.station_round_settings import StationRoundSettings

#: So many lines have room on its paper.
MOST_STATIONS, MOST_ENTRIES = 30, 48
#: How many must count: with a reference, and without one.
FEWEST_WITH_REFERENCE, FEWEST_WITHOUT = 1, 3


class Kind(StrEnum):
    """Events of a round."""

    STARTED = "started"  # settings
    TAKEN = "taken"  # station, value, expanded_u, k, source, words, run, cites, late, simulated
    ANSWERED = "answered"  # entry, counts, reason
    LEFT_OUT = "left_out"  # station, reason
    TAKEN_BACK = "taken_back"  # station: it is in again
    RESULT = "result"  # certificate and pdf_sha256, or draft
    STOPPED = "stopped"  # reason


class Source(StrEnum):
    """How a result came here."""

    TYPED = "typed"
    RUN = "run"  # a finished run of that station
    READ = "read"  # read by the station's rig just now


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One result of one station.

    Attributes
    ----------
    number : int
        Over the whole round, from 1.
    station : str
    stated : StatedValue
        [unit of the round]
    source : Source
    words : str
        How it was come by.
    run : int or None
        Run it was taken from.
    cites : Citation or None
        Readings it was made of.
    is_late, is_repeated : bool
        Came after the last day, or after another of that station: counts only where a person says so.
    is_simulated : bool
    counts : bool
    reason : str
        What a person said of it.
    """

    number: int
    station: str
    stated: StatedValue
    source: Source
    words: str
    run: int | None = None
    cites: Citation | None = None
    is_late: bool = False
    is_repeated: bool = False
    is_simulated: bool = False
    counts: bool = True
    reason: str = ""

    @property
    def flags(self) -> str:
        """Why it does not count by itself, in words; empty where it does."""
        said = [word for word, is_so in (("late", self.is_late), ("again", self.is_repeated)) if is_so]
        return ", ".join(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRoundState:
    """All there is to know of a round; made of its events alone.

    Attributes
    ----------
    settings : StationRoundSettings or None
        None before the first event.
    entries : tuple[Entry, ...]
        Every result, in the order they came.
    left_out : Mapping[str, str]
        Stations without a part in the result, and why.
    has_paper : bool
        Whether a certificate or a draft of one was made.
    is_stopped : bool
    reason : str
        Why it stopped.
    """

    settings: StationRoundSettings | None = None
    entries: tuple[Entry, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
    has_paper: bool = False
    is_stopped: bool = False
    reason: str = ""

    @property
    def started(self) -> StationRoundSettings:
        """Settings of a round that has begun."""
        if self.settings is None:
            raise ValueError("This round has no first event: it was never started.")
        return self.settings

    @property
    def is_over(self) -> bool:
        """True where nothing more will happen."""
        return self.is_stopped or self.has_paper

    @property
    def stations(self) -> tuple[str, ...]:
        """Those that were awaited, then those that came besides."""
        return tuple(dict.fromkeys((*self.started.stations, *(entry.station for entry in self.entries))))

    def known_as(self, typed: str) -> str:
        """A station in the spelling that is in use here; as typed where it is new."""
        return next((name for name in self.stations if name_key(name) == name_key(typed)), typed)

    def entries_of(self, station: str) -> tuple[Entry, ...]:
        """All results of a station."""
        return tuple(entry for entry in self.entries if entry.station == station)

    @property
    def counted(self) -> Mapping[str, Entry]:
        """The result of each station that counts."""
        return {
            station: entry
            for station in self.stations
            if station not in self.left_out
            for entry in self.entries_of(station)
            if entry.counts
        }

    @property
    def is_simulated(self) -> bool:
        """Whether reference or a result that counts is of a simulated bench."""
        return self.started.simulated or any(entry.is_simulated for entry in self.counted.values())

    @property
    def missing(self) -> tuple[str, ...]:
        """Stations of which no result counts and that nobody has left out."""
        counted = self.counted
        return tuple(one for one in self.stations if one not in counted and one not in self.left_out)

    @property
    def why_open(self) -> str:
        """What is needed before the round can be closed; empty where nothing is."""
        if self.missing:
            return f"No result counts yet of: {', '.join(self.missing)}. Take it, or leave the station out."
        count = len(self.counted)
        if self.started.reference is None and count < FEWEST_WITHOUT:
            return (
                f"Without a reference {FEWEST_WITHOUT} stations are needed, {FEWEST_WITHOUT + 1} to say "
                f"which one is off; there are {count}."
            )
        return "" if count >= FEWEST_WITH_REFERENCE else "No station has a result yet."


def advance(state: StationRoundState, event: Event) -> StationRoundState:
    """State after an event.

    Raises
    ------
    ValueError
        If the event cannot follow: a fault of the program, not of a station.
    """
    kind, payload = Kind(event.kind), event.payload
    if state.is_over or (kind is Kind.STARTED) != (state.settings is None):
        raise ValueError(f"{kind.value} cannot follow here")
    match kind:
        case Kind.STARTED:
            return replace(state, settings=StationRoundSettings.from_json(payload["settings"]))
        case Kind.TAKEN:
            return _taken(state, payload)
        case Kind.ANSWERED:
            return _answered(state, int(payload["entry"]), bool(payload["counts"]), str(payload["reason"]))
        case Kind.LEFT_OUT:
            return _left_out(state, str(payload["station"]), str(payload["reason"]))
        case Kind.TAKEN_BACK:
            station = str(payload["station"])
            if station not in state.left_out:
                raise ValueError(f"{station} was not left out")
            left_out = {name: why for name, why in state.left_out.items() if name != station}
            return replace(state, left_out=left_out)
        case Kind.RESULT:
            if state.why_open:
                raise ValueError("a result needs every station in or left out")
            return replace(state, has_paper=True)
        case Kind.STOPPED:
            return replace(state, is_stopped=True, reason=str(payload["reason"]))


def state_of(events: Iterable[Event]) -> StationRoundState:
    """State that a log of events leads to; see `led_to`."""
    return led_to(StationRoundState(), events, advance)[0]


def _taken(state: StationRoundState, payload: Mapping[str, Any]) -> StationRoundState:
    station = str(payload["station"])
    if not station or len({*state.stations, station}) > MOST_STATIONS or len(state.entries) >= MOST_ENTRIES:
        raise ValueError("no room for another station or result")
    is_late, is_repeated = bool(payload["late"]), bool(state.entries_of(station))
    entry = Entry(
        number=len(state.entries) + 1,
        station=station,
        stated=StatedValue(
            value=float(payload["value"]), expanded_u=float(payload["expanded_u"]), k=float(payload["k"])
        ),
        source=Source(payload["source"]),
        words=str(payload["words"]),
        run=None if payload.get("run") is None else int(payload["run"]),
        cites=Citation.from_json(payload["cites"]) if payload.get("cites") else None,
        is_late=is_late,
        is_repeated=is_repeated,
        is_simulated=bool(payload.get("simulated", False)),
        counts=not (is_late or is_repeated),
    )
    return replace(state, entries=(*state.entries, entry))


def _answered(state: StationRoundState, number: int, counts: bool, reason: str) -> StationRoundState:
    if not reason or not 1 <= number <= len(state.entries):
        raise ValueError("an answer needs a reason and a result that is there")
    station = state.entries[number - 1].station

    def after(entry: Entry) -> Entry:
        if entry.number == number:
            return replace(entry, counts=counts, reason=reason)
        # One of a station counts at the most.
        return replace(entry, counts=False) if counts and entry.station == station else entry

    return replace(state, entries=tuple(after(entry) for entry in state.entries))


def _left_out(state: StationRoundState, station: str, reason: str) -> StationRoundState:
    if not reason or station not in state.stations:
        raise ValueError("leaving out needs a reason and a station that is there")
    return replace(state, left_out={**state.left_out, station: reason})
