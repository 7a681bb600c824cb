"""Gauge, scan data and infrared spots on the vehicle: which of them disagrees, by how much, what to try.

Each reading is a claim about the coolant at the sender. Some claims have one side only: a hose is never
hotter at its skin than the coolant that came out of the head. These are trade rules, common practice with
no single source, and the widths below are assumed; what they cannot tell is said to be so.

Spots are corrected for the thermometer's certificate and the surface's emissivity before they come here.
A running engine has belts and a fan that start by themselves; a warm cooling system stays closed.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from calibration.errors import CalibrationError

#: How far metal beside the sensor may be colder than the coolant behind it. Assumed. [K]
HEAD_COLDER_K = 5.0
#: How far an outlet hose may be colder than the head once the thermostat is fully open. Assumed. [K]
OUTLET_COLDER_K = 12.0
#: How far a gauge may stand off and still be a gauge. Assumed; many stand still over a wide middle. [K]
GAUGE_K = 5.0


class Where(StrEnum):
    """Whose reading it is."""

    SCAN_DATA = "scan data"
    GAUGE = "dash gauge"
    HEAD = "head beside the sensor"
    OUTLET_HOSE = "outlet hose"
    RETURN_HOSE = "return hose"


class Thermostat(StrEnum):
    """How far it has opened."""

    NOT_FULLY_OPEN = "not fully open"
    FULLY_OPEN = "fully open"
    UNKNOWN = "unknown"


class InPlaceError(CalibrationError):
    """Readings that cannot be compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceReading:
    """One reading on the vehicle.

    Attributes
    ----------
    where : Where
    temperature_c : float
        [°C]
    expanded_u_k : float
        k = 2. For scan data the sender's tolerance belongs in it. [K]
    """

    where: Where
    temperature_c: float
    expanded_u_k: float

    def __post_init__(self) -> None:
        """Refuse a reading without an uncertainty."""
        if not 0.0 < self.expanded_u_k < math.inf:
            raise InPlaceError(f"The {self.where} needs an uncertainty above zero, in kelvin.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """Two readings that cannot both be true.

    Attributes
    ----------
    high, low : Where
        The one that says more, and the one that says less.
    gap_k : float
        What is left between them after everything they are allowed. [K]
    expanded_u_k : float
        Of the gap, k = 2. [K]
    rule : str
        The expectation that is broken.
    """

    high: Where
    low: Where
    gap_k: float
    expanded_u_k: float
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceComparison:
    """What the readings say together.

    Attributes
    ----------
    disagreements : tuple[Disagreement, ...]
        Gaps larger than their uncertainty; the largest first.
    suspects : tuple[Where, ...]
        Readings of which any one, left out, lets all the others agree.
    odd_one : Where or None
        The suspect, where there is only one.
    off_by_k : float or None
        How far the odd one is from what the others allow, below zero where it reads low. [K]
    words, next_action : str
    """

    disagreements: tuple[Disagreement, ...]
    suspects: tuple[Where, ...]
    odd_one: Where | None
    off_by_k: float | None
    words: str
    next_action: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What a reading says of the coolant at the sender.

    Attributes
    ----------
    least_c, most_c : float
        Span that the reading allows; endless to a side of which it says nothing. [°C]
    expanded_u_k : float
        Of each end, k = 2. [K]
    """

    least_c: float
    most_c: float
    expanded_u_k: float


def compare_in_place(readings: Sequence[InPlaceReading], *, thermostat: Thermostat) -> InPlaceComparison:
    """Compare readings taken within a minute or so of each other.

    Parameters
    ----------
    readings : sequence of InPlaceReading
        At most one of each kind.
    thermostat : Thermostat
        Fully open: the return hose is warm and the temperature no longer rises.

    Raises
    ------
    InPlaceError
        If there are fewer than two readings, or two of one kind.
    """
    by_where = {reading.where: reading for reading in readings}
    if len(by_where) != len(readings):
        raise InPlaceError("Give one reading of each kind: take the mean of several shots of one place.")
    if len(by_where) < 2:
        raise InPlaceError("One reading alone agrees with everything: add the head beside the sensor.")
    found = _disagreements(by_where, thermostat)
    suspects = _suspects(by_where, found)
    odd_one = suspects[0] if len(suspects) == 1 else None
    off_by_k = None if odd_one is None else _off_by_k(odd_one, found)
    return InPlaceComparison(
        disagreements=found,
        suspects=suspects,
        odd_one=odd_one,
        off_by_k=off_by_k,
        words=_words(by_where, found, suspects, odd_one, off_by_k, thermostat),
        next_action=_next_action(by_where, found, suspects),
    )


def claim_of(reading: InPlaceReading, thermostat: Thermostat) -> Claim:
    """What a reading says of the coolant at the sender, by the trade's rules and the widths assumed here."""
    colder_k, hotter_k = {
        Where.SCAN_DATA: (0.0, 0.0),
        Where.GAUGE: (GAUGE_K, GAUGE_K),
        Where.HEAD: (0.0, HEAD_COLDER_K),
        Where.OUTLET_HOSE: (
            0.0,
            OUTLET_COLDER_K if thermostat is Thermostat.FULLY_OPEN else math.inf,
        ),
        Where.RETURN_HOSE: (0.0, math.inf),
    }[reading.where]
    return Claim(
        least_c=reading.temperature_c - colder_k,
        most_c=reading.temperature_c + hotter_k,
        expanded_u_k=reading.expanded_u_k,
    )


def allowance_words(where: Where, thermostat: Thermostat) -> str:
    """What is assumed of a place beside its reading's own uncertainty; empty where nothing is, or no end."""
    words = {
        Where.GAUGE: f"a {Where.GAUGE} stands within {GAUGE_K:g} K of the coolant",
        Where.HEAD: f"the {Where.HEAD} is up to {HEAD_COLDER_K:g} K colder than it",
    }
    if thermostat is Thermostat.FULLY_OPEN:
        words[Where.OUTLET_HOSE] = (
            f"the {Where.OUTLET_HOSE} is up to {OUTLET_COLDER_K:g} K colder, the thermostat being fully open"
        )
    return words.get(where, "")


def _disagreements(
    by_where: Mapping[Where, InPlaceReading], thermostat: Thermostat
) -> tuple[Disagreement, ...]:
    claims = {where: claim_of(reading, thermostat) for where, reading in by_where.items()}
    found = []
    for one, other in itertools.permutations(claims, 2):
        gap_k = claims[one].least_c - claims[other].most_c
        rule = f"both speak of the coolant at the sensor, and {_rule_words(one, other)}"
        if one is Where.RETURN_HOSE and other is Where.OUTLET_HOSE:
            # Whatever the coolant is at, the radiator only cools.
            gap_k = by_where[one].temperature_c - by_where[other].temperature_c
            rule = "the return hose is colder than the outlet hose"
        if (one, other) == (Where.OUTLET_HOSE, Where.HEAD) and thermostat is Thermostat.NOT_FULLY_OPEN:
            gap_k = by_where[one].temperature_c - by_where[other].temperature_c
            rule = "the outlet hose is below the head until the thermostat is fully open"
        expanded_u_k = math.hypot(claims[one].expanded_u_k, claims[other].expanded_u_k)
        if gap_k > expanded_u_k:
            found.append(Disagreement(high=one, low=other, gap_k=gap_k, expanded_u_k=expanded_u_k, rule=rule))
    return tuple(sorted(found, key=lambda one: -one.gap_k))


def _rule_words(high: Where, low: Where) -> str:
    if high in (Where.OUTLET_HOSE, Where.RETURN_HOSE):
        return "a hose is not hotter than the coolant that left the head"
    if low is Where.HEAD:
        return f"the head beside it is at most {HEAD_COLDER_K:g} K colder (assumed)"
    if low is Where.OUTLET_HOSE:
        return f"with the thermostat fully open its hose is at most {OUTLET_COLDER_K:g} K colder (assumed)"
    if Where.GAUGE in (high, low):
        return f"a gauge stands within {GAUGE_K:g} K (assumed)"
    return "the head is not hotter than the coolant behind it"


def _suspects(by_where: Mapping[Where, InPlaceReading], found: Sequence[Disagreement]) -> tuple[Where, ...]:
    if not found:
        return ()
    return tuple(where for where in by_where if all(where in (one.high, one.low) for one in found))


def _off_by_k(odd_one: Where, found: Sequence[Disagreement]) -> float:
    gaps = [one.gap_k if one.high is odd_one else -one.gap_k for one in found]
    return max(gaps, key=abs)


_TRY = {
    Where.SCAN_DATA: "Dial that temperature on the decade box at the sender's plug: if the scan data agree, "
    "the sender is off; take it to the bench.",
    Where.GAUGE: "See whether the gauge has a sender of its own, and put the decade box there.",
    Where.HEAD: "Stick matt tape beside the sensor, wait, wipe the lens, and shoot again from close by.",
    Where.OUTLET_HOSE: "Shoot the hose again close to the housing, on matt rubber, clear of exhaust and fan.",
    Where.RETURN_HOSE: "Shoot the hose again on matt rubber, and make sure which hose it is.",
}


def _words(
    by_where: Mapping[Where, InPlaceReading],
    found: Sequence[Disagreement],
    suspects: Sequence[Where],
    odd_one: Where | None,
    off_by_k: float | None,
    thermostat: Thermostat,
) -> str:
    if not found:
        if Where.HEAD not in by_where:
            return (
                "The readings agree as far as they can; without the head beside the sensor that is not far."
            )
        if thermostat is Thermostat.UNKNOWN:
            return "The readings agree, the thermostat left out of it."
        return "The readings agree."
    worst = found[0]
    broken = f"The {worst.high} says {worst.gap_k:.1f} K more than the {worst.low} allows: {worst.rule}."
    if odd_one is not None and off_by_k is not None:
        way = "high" if off_by_k > 0.0 else "low"
        return f"The {odd_one} reads {abs(off_by_k):.1f} K too {way} for all the others. {broken}"
    if suspects:
        return f"Cannot tell whether it is the {' or the '.join(suspects)}. {broken}"
    return f"More than one reading is off. {broken}"


def _next_action(
    by_where: Mapping[Where, InPlaceReading], found: Sequence[Disagreement], suspects: Sequence[Where]
) -> str:
    if not found:
        if Where.HEAD not in by_where:
            return "Shoot the head beside the sensor: that is the fair comparison."
        return "Nothing to do here."
    if len(suspects) == 1:
        return _TRY[suspects[0]]
    # What is shot again costs a minute; what is taken out costs an hour.
    order = (Where.HEAD, Where.OUTLET_HOSE, Where.RETURN_HOSE, Where.GAUGE, Where.SCAN_DATA)
    named = {where for one in found for where in (one.high, one.low)}
    if Where.HEAD not in by_where:
        return "Shoot the head beside the sensor: that is the fair comparison, and it will tell them apart."
    return _TRY[next(where for where in order if where in named)]
