"""The 1-wire witness beside the probe at three temperatures or more, to its corrections in the register.

It lags and is half a degree off as bought: only settled readings count, and remaining drift is charged to it.
"""

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any

from calibration.bath.fixed_points import FixedPoint
from calibration.contract.readings import ReadingPack
from calibration.rounding import decimals_of, rounded_text
from calibration.uncertainty.budget import Budget, combine
from calibration.uncertainty.line import normal, rectangular
from host.citation import Citation
from host.contact_reference import BATH_READING, ContactReference, read_by_hand, read_by_probe
from host.errors import DeskError
from host.live import Live
from host.procedures.event import Event, led_to
from host.procedures.logged import events_of_kind
from host.procedures.run_kind import RunKind
from host.readings_of_now import readings_of_now
from host.shop import Shop
from host.store import Store
from host.store.register_file import RegisterEntry, register_entry
from host.witnesses import WITNESS_LAG_S

#: Fewest temperatures of a check. A choice of ours, as the next is.
LEAST_POINTS = 3
#: Nearer than this two readings are of one temperature. [K]
APART_K = 5.0
#: DS18B20 at 12 bit (from memory), and its limits of error as bought from -10 to 85 °C (data sheet, first
#: page). [K]
RESOLUTION_K, AS_BOUGHT_K = 0.0625, 0.5
#: Of a bath that stands still by the eye alone; nobody reads a slope off two displays. Assumed. [K/min]
DRIFT_BY_EYE_K_PER_MIN = 0.5
#: Where simulated hands bring a bath for it: cold to hot, far enough apart. [°C]
_PROPOSED_C = (30.0, 60.0, 85.0)
_NEWEST_PACKS = 200


class Kind(StrEnum):
    """Events of a witness check."""

    STARTED = "started"  # station, serial, probe, simulated, resolution_k
    # reference_c, u_reference_k, shown_c, scatter_k, drift_k_per_min, words, cites, resolution_k
    READ = "read"
    FINISHED = "finished"  # register: digest of the entry; none where it was kept as a record alone
    STOPPED = "stopped"  # reason


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessReading:
    """Reference and witness at one temperature. [°C], [K], [K/min]"""

    reference_c: float
    u_reference_k: float
    shown_c: float
    scatter_k: float
    drift_k_per_min: float
    words: str
    resolution_k: float = RESOLUTION_K

    @property
    def budget(self) -> Budget:
        """Of the error, shown minus true. [K]"""
        return combine(
            estimate=self.shown_c - self.reference_c,
            unit="K",
            lines=(
                normal("reference", self.reference_c, "°C", self.u_reference_k, -1.0),
                normal("scatter of the witness", 0.0, "K", self.scatter_k, 1.0),
                rectangular("resolution", 0.0, "K", 0.5 * self.resolution_k, 1.0),
                rectangular("lag", 0.0, "K", WITNESS_LAG_S / 60.0 * abs(self.drift_k_per_min), 1.0),
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessState:
    """All there is to know of a check; made of its events alone.

    Without a station it is read by hand: ``probe`` is the register entry of a contact thermometer then, empty
    where ice and boiling water are all there is.
    """

    station: str = ""
    serial: str = ""
    probe: Mapping[str, Any] | None = None
    simulated: bool = False
    resolution_k: float = RESOLUTION_K
    readings: tuple[WitnessReading, ...] = ()
    is_over: bool = False
    reason: str = ""
    is_record_alone: bool = False

    @property
    def what(self) -> str:
        """What is checked, in words."""
        return f"1-wire witness {self.serial}" if self.station else f"contact thermometer {self.serial}"

    @property
    def is_in_fixed_points_alone(self) -> bool:
        """Whether ice and boiling water are all there is: neither a bath nor another thermometer."""
        return not self.station and not self.probe

    @property
    def instruction(self) -> str:
        """What hands do next."""
        if not self.is_in_fixed_points_alone:
            which = "another" if self.readings else "a first"
            return (
                f"Bring the bath to {which} temperature, heater off, stir, and wait until both stand still."
            )
        in_ice = any(abs(one.reference_c) < APART_K for one in self.readings)
        in_boiling = len(self.readings) > in_ice
        if in_ice and in_boiling:
            return "Both are read: end it and keep it as a record."
        if in_ice:
            return "Stand it in water that boils; wait until it stands still."
        if in_boiling:
            return "Stand it in crushed ice; wait until it stands still."
        return "Stand it in crushed ice, then in water that boils; each time wait until it stands still."

    @property
    def may_finish(self) -> bool:
        """Whether three temperatures are there."""
        return not self.is_over and len(self.readings) >= LEAST_POINTS

    @property
    def proposed_c(self) -> float | None:
        """Next temperature for simulated hands, None where each was read. [°C]"""
        return next(
            (
                proposed_c
                for proposed_c in _PROPOSED_C
                if all(abs(one.reference_c - proposed_c) >= APART_K for one in self.readings)
            ),
            None,
        )

    @property
    def is_in_register(self) -> bool:
        """Whether its corrections were put into the register."""
        return self.is_over and not self.reason and not self.is_record_alone

    @property
    def sentence(self) -> str:
        """What the readings come to."""
        off = [one for one in self.readings if abs(one.budget.estimate) > one.budget.expanded_u]
        if not self.readings:
            return "Nothing was read yet."
        if not off:
            return "It reads true at what was read, as far as can be told."
        worst = max(off, key=lambda one: abs(one.budget.estimate) - one.budget.expanded_u)
        budget = worst.budget
        places = decimals_of(budget.expanded_u)
        size = rounded_text(abs(budget.estimate), places)
        return (
            f"It reads {size} K too {'high' if budget.estimate > 0.0 else 'low'} at "
            f"{worst.reference_c:.1f} °C, sure to {rounded_text(budget.expanded_u, places)} K: "
            "correct by it, or have it calibrated."
        )


def advance(state: WitnessState, event: Event) -> WitnessState:
    """State after an event.

    Raises
    ------
    ValueError
        If the event cannot follow: a fault of the program, not of the bench.
    """
    kind, payload = Kind(event.kind), event.payload
    if state.is_over or (kind is Kind.STARTED) != (state.probe is None):
        raise ValueError(f"{kind.value} cannot follow here")
    match kind:
        case Kind.STARTED:
            return WitnessState(
                station=payload["station"],
                serial=payload["serial"],
                probe=payload["probe"],
                simulated=payload["simulated"],
                resolution_k=payload.get("resolution_k", RESOLUTION_K),
            )
        case Kind.READ:
            fields = {name: payload[name] for name in WitnessReading.__dataclass_fields__ if name in payload}
            return replace(state, readings=(*state.readings, WitnessReading(**fields)))
        case Kind.FINISHED:
            return replace(state, is_over=True, is_record_alone=payload["register"] is None)
        case Kind.STOPPED:
            return replace(state, is_over=True, reason=payload["reason"])


def state_of(events: Iterable[Event]) -> WitnessState:
    """State that a log of events leads to; see `led_to`."""
    return led_to(WitnessState(), events, advance)[0]


def corrections_of(
    state: WitnessState, *, run: int, shop: Shop, today: date, kept_at: Mapping[str, str]
) -> RegisterEntry:
    """The witness as this check describes it; one that was read by hand stays kept where it was."""
    at_station = {"station": state.station, "accuracy_k": AS_BOUGHT_K}
    return register_entry(
        {
            "kind": "witness",
            "serial": state.serial,
            "certificate": f"witness check {run:04d}",
            "issuer": shop.name,
            "issued": today,
            "simulated": state.simulated,
            **(at_station if state.station else kept_at),
            "resolution_k": state.resolution_k,
            "k": 2.0,
            "point": rows_of(state),
        }
    )


def rows_of(state: WitnessState) -> list[dict[str, float]]:
    """Corrections as the register keeps them, by rising temperature."""
    read = sorted(state.readings, key=lambda reading: reading.shown_c)
    return [
        {
            "shown_c": round(reading.shown_c, 3),
            "correction_k": round(-reading.budget.estimate, 3),
            "expanded_u_k": round(2.0 * reading.budget.standard_u, 3),
        }
        for reading in read
    ]


def read_again(packs: Sequence[ReadingPack], probe: Mapping[str, Any]) -> dict[str, Any]:
    """What the readings of a window come to, as an event has it.

    Raises
    ------
    DeskError
        If they come to nothing.
    """
    return _reading(packs, read_by_probe(packs, probe))


class WitnessChecks:
    """Witness checks of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def start(
        self,
        *,
        station: str,
        serial: str,
        probe: Mapping[str, Any],
        simulated: bool,
        resolution_k: float = RESOLUTION_K,
    ) -> int:
        """Begin a check; its number. Without a station both are read by hand. [K]"""
        content = {
            "station": station,
            "serial": serial,
            "probe": dict(probe),
            "simulated": simulated,
            "resolution_k": resolution_k,
        }
        begun = advance(WitnessState(), Event(kind=Kind.STARTED, payload=content))
        run = self._store.runs.create(
            station=station or None,
            kind=RunKind.WITNESS_CHECK,
            settings={"item": begun.what, **content},
        )
        self._store.runs.append(run, Kind.STARTED, content, after=0)
        return run

    def read(self, run: int, *, live: Live) -> None:
        """Read both now.

        Raises
        ------
        DeskError
            If the station is silent, they cannot be read, do not stand still, or were read near this
            temperature already.
        """
        state, logged = self._open(run)
        if not state.station:
            raise DeskError("No station reads this one: type what both thermometers say.")
        packs = readings_of_now(self._store, live, state.station, _NEWEST_PACKS)
        reference = read_by_probe(packs, state.probe or {}, taking=BATH_READING)
        _refuse_near(state, reference)
        payload = _reading(packs, reference)
        cites = reference.cites
        self._store.runs.append(
            run,
            Kind.READ,
            {**payload, "cites": cites.as_json() if cites else None},
            after=logged,
            cites=cites,
        )

    def read_typed(self, run: int, *, reference_shown_c: float, shown_c: float) -> None:
        """Take what two displays say, read by hand. [°C]

        Raises
        ------
        DeskError
            If a station reads them, the reference may not be used there, or they were read near this
            temperature already.
        """
        state, logged = self._open(run)
        if state.station:
            raise DeskError(f"{state.station} reads both itself: press “Read both now”.")
        if not state.probe:
            raise DeskError("This check has ice and boiling water alone: type what it says there.")
        reference = read_by_hand(reference_shown_c, state.probe)
        words = f"{reference.words}; both read by hand"
        self._take_typed(run, state, logged, replace(reference, words=words), shown_c, DRIFT_BY_EYE_K_PER_MIN)

    def read_in(self, run: int, fixed: FixedPoint, *, shown_c: float) -> None:
        """Take what a display says in melting ice or in boiling water. [°C]

        Raises
        ------
        DeskError
            If a station reads it, or it was read near this temperature already.
        """
        state, logged = self._open(run)
        if state.station:
            raise DeskError(f"{state.station} reads this one: its probe has a check of its own for ice.")
        words = "melting ice"
        if fixed.pressure_kpa is not None:
            words = f"water boiling at {10.0 * fixed.pressure_kpa:.1f} hPa"
        reference = ContactReference(
            temperature_c=fixed.temperature_c, u_k=fixed.budget.standard_u, words=f"{words}, read by hand"
        )
        self._take_typed(run, state, logged, reference, shown_c, 0.0)  # it stands still by itself

    def _take_typed(
        self,
        run: int,
        state: WitnessState,
        logged: int,
        reference: ContactReference,
        shown_c: float,
        drift_k_per_min: float,
    ) -> None:
        _refuse_near(state, reference)
        payload = {
            "reference_c": reference.temperature_c,
            "u_reference_k": reference.u_k,
            "shown_c": shown_c,
            "scatter_k": 0.0,
            "drift_k_per_min": drift_k_per_min,
            "words": reference.words,
            "resolution_k": state.resolution_k,
            "cites": None,
        }
        self._store.runs.append(run, Kind.READ, payload, after=logged)

    def keep(self, run: int) -> None:
        """End a check as a record: two points verify a thermometer, and give no corrections between them.

        Raises
        ------
        DeskError
            If nothing was read, or it was ended otherwise.
        """
        if self.state(run).is_record_alone:
            return
        state, logged = self._open(run)
        if not state.readings:
            raise DeskError("Nothing was read yet: type what it says in ice or in boiling water.")
        self._store.runs.append(run, Kind.FINISHED, {"register": None}, after=logged)
        self._store.runs.end(run)

    def finish(self, run: int, *, shop: Shop, today: date) -> None:
        """Put what was found into the register; once more changes nothing.

        Raises
        ------
        DeskError
            If temperatures are missing, it was stopped, or it has gone on.
        """
        if self.state(run).is_in_register:
            return
        state, logged = self._open(run)
        if not state.may_finish:
            raise DeskError(
                f"A witness is read at {LEAST_POINTS} temperatures: {len(state.readings)} so far."
            )
        kept_at = self._store.register.kept_at("witness", state.serial)
        entry = self._store.register.add(
            corrections_of(state, run=run, shop=shop, today=today, kept_at=kept_at)
        )
        self._store.runs.append(run, Kind.FINISHED, {"register": entry.sha256}, after=logged)
        self._store.runs.end(run)

    def stop(self, run: int, reason: str) -> None:
        """Stop a check for good; stopping it again changes nothing."""
        if self.state(run).reason:
            return
        _, logged = self._open(run)
        self._store.runs.append(run, Kind.STOPPED, {"reason": reason}, after=logged)
        self._store.runs.end(run)

    def state(self, run: int) -> WitnessState:
        """A check, open or over.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        return state_of(self._events(run))

    def history(self) -> list[tuple[int, float, WitnessState]]:
        """Number, time and state of every check, the newest first. [s]"""
        return [
            (run.number, run.started_utc_s, self.state(run.number))
            for run in reversed(self._store.runs.of_kind(RunKind.WITNESS_CHECK))
        ]

    def _open(self, run: int) -> tuple[WitnessState, int]:
        """A check that is not over, and how many events it was made of."""
        events = self._events(run)
        state = state_of(events)
        if state.is_over:
            raise DeskError(f"Witness check {run:04d} is over. Start a new one.")
        return state, len(events)

    def _events(self, run: int) -> list[Event]:
        return events_of_kind(self._store, run, RunKind.WITNESS_CHECK, what="witness check")


def _refuse_near(state: WitnessState, reference: ContactReference) -> None:
    """Refuse a temperature that was read already."""
    near = [one for one in state.readings if abs(one.reference_c - reference.temperature_c) < APART_K]
    if near:
        further = f"bring the bath {APART_K:g} K further"
        if state.is_in_fixed_points_alone:
            further = "take the other of ice and boiling water, or end it"
        raise DeskError(f"It was read at {near[0].reference_c:.1f} °C already: {further}.")


def _reading(packs: Sequence[ReadingPack], reference: ContactReference) -> dict[str, Any]:
    cites: Citation | None = reference.cites
    window = [pack for pack in packs if cites and pack.boot == cites.boot and pack.seq >= cites.first]
    values = [value for pack in window if (value := pack.good_value("witness")) is not None]
    if len(values) < max(len(window) // 2, 2):
        raise DeskError("The witness gave hardly a good reading in the last seconds: look at its plug.")
    return {
        "reference_c": reference.temperature_c,
        "u_reference_k": reference.u_k,
        "shown_c": math.fsum(values) / len(values),
        "scatter_k": statistics.stdev(values),
        "drift_k_per_min": reference.drift_k_per_min,
        "words": reference.words,
    }
