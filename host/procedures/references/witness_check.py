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

from calibration.contract.readings import ReadingPack
from calibration.rounding import decimals_of, rounded_text
from calibration.uncertainty.budget import Budget, combine
from calibration.uncertainty.line import normal, rectangular
from host.citation import Citation
from host.contact_reference import ContactReference, read_by_probe
from host.errors import DeskError
from host.procedures.event import Event, led_to
from host.shop import Shop
from host.store.register_file import RegisterEntry, register_entry
from host.witnesses import WITNESS_LAG_S

#: Fewest temperatures of a check. A choice of ours, as the next is.
LEAST_POINTS = 3
#: Nearer than this two readings are of one temperature. [K]
APART_K = 5.0
#: DS18B20 at 12 bit (from memory), and its limits of error as bought from -10 to 85 °C (data sheet, first
#: page). [K]
RESOLUTION_K, AS_BOUGHT_K = 0.0625, 0.5
#: Where simulated hands bring a bath for it: cold to hot, far enough apart. [°C]
_PROPOSED_C = (30.0, 60.0, 85.0)


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
    return reading_of(packs, read_by_probe(packs, probe))


def reading_of(packs: Sequence[ReadingPack], reference: ContactReference) -> dict[str, Any]:
    """Reference and witness over a window, as an event has it.

    Raises
    ------
    DeskError
        If the witness was hardly read.
    """
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
