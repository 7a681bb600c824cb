"""One artefact at every station: each held against the reference, and mean and spread of them all."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from calibration.comparison import (
    MEAN_U_FACTOR,
    ComparisonError,
    RobustMean,
    algorithm_a,
    en_number,
    median_and_deviation,
)

#: En numbers up to this are satisfactory (ISO 13528:2015, 9.7).
MOST_EN = 1.0
#: Coverage factor of what is stated of a mean of many.
K_OF_A_MEAN = 2.0
#: Below this k an uncertainty is a standard one and covers far less than 95 %: a rectangle's k is 1.65.
LEAST_K, MOST_K = 1.6, 5.0
NO_REFERENCE_FEWEST = 4
#: Others whose mean is this many times less sure than they say themselves lie apart: one of them has carried
#: the mean away, or none of them is right about its U. A station stands out beyond as many of its own u, as
#: beyond |z| = 3 ISO 13528 calls for action (NIST Dataplot, "ISO 13528 ZSCORE"); for others it is a choice of
#: ours. [1]
APART = 3.0
#: A median speaks for two at the least. A choice of ours.
_FEWEST_KEPT = 2


class Agreement(StrEnum):
    """Whether a station agrees with what it is held against."""

    AGREES = "agrees"
    DOES_NOT_AGREE = "does_not_agree"

    @property
    def words(self) -> str:
        """As it is said to a person."""
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedValue:
    """A value with its expanded uncertainty.

    Attributes
    ----------
    value, expanded_u : float
        Covering about 95 %. [unit]
    k : float
        Its coverage factor.
    """

    value: float
    expanded_u: float
    k: float = K_OF_A_MEAN

    def __post_init__(self) -> None:
        """Refuse what is no result.

        Raises
        ------
        ComparisonError
            If a number is none, U is not above zero, or k is that of another coverage.
        """
        if not math.isfinite(self.value):
            raise ComparisonError("The value is no number.")
        if not 0.0 < self.expanded_u < math.inf:
            raise ComparisonError("U must be above zero: a result without uncertainty agrees with nothing.")
        if not LEAST_K <= self.k <= MOST_K:
            raise ComparisonError(
                f"k is {self.k:g}. En takes U at about 95 %, with k from {LEAST_K:g} to {MOST_K:g}: of a "
                "standard uncertainty (k = 1) write twice the number, and k = 2."
            )

    @property
    def standard_u(self) -> float:
        """U over k. [unit]"""
        return self.expanded_u / self.k


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedStation:
    """A station and what it is held against.

    Attributes
    ----------
    name : str
    stated : StatedValue
    assigned : StatedValue or None
        The reference, or the robust mean of the other stations; None where there is neither.
    can_agree : bool
        False where the other stations lie so far apart that to be within their uncertainty says nothing.
    """

    name: str
    stated: StatedValue
    assigned: StatedValue | None
    can_agree: bool = True

    @property
    def difference(self) -> float | None:
        """Station minus what it is held against. [unit]"""
        return None if self.assigned is None else self.stated.value - self.assigned.value

    @property
    def difference_expanded_u(self) -> float | None:
        """Both expanded uncertainties together. [unit]"""
        if self.assigned is None:
            return None
        return math.hypot(self.stated.expanded_u, self.assigned.expanded_u)

    @property
    def en(self) -> float | None:
        """En number. [1]"""
        if self.assigned is None:
            return None
        return en_number(
            value=self.stated.value,
            expanded_u=self.stated.expanded_u,
            reference=self.assigned.value,
            reference_expanded_u=self.assigned.expanded_u,
        )

    @property
    def agreement(self) -> Agreement | None:
        """Up to ±1 it agrees; None where there is nothing to agree with, or that would say nothing."""
        if self.en is None:
            return None
        found = agreement_of(self.en)
        return None if found is Agreement.AGREES and not self.can_agree else found


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedStations:
    """A whole round.

    Attributes
    ----------
    stations : tuple[ComparedStation, ...]
        In the order they were given.
    robust : RobustMean or None
    why_no_robust : str
        Why there is no robust mean; empty where there is one.
    why_no_en : str
        Why there are no En numbers; empty where there are.
    """

    stations: tuple[ComparedStation, ...]
    robust: RobustMean | None
    why_no_robust: str = ""
    why_no_en: str = ""


def agreement_of(en: float) -> Agreement:
    """What an En number says."""
    return Agreement.AGREES if abs(en) <= MOST_EN else Agreement.DOES_NOT_AGREE


def compare_stations(
    results: Mapping[str, StatedValue], *, reference: StatedValue | None = None
) -> ComparedStations:
    """Hold every station against the reference, or against the other stations where there is none.

    The robust mean of a round holds each station's own value, so En against it would be too small. Without a
    reference a station is held against the robust mean of the *other* stations, in which it has no part.
    Where that mean cannot be had, or others that lie apart have carried it away, the median of those that do
    not stand out takes its place, if more than half of all stations lie by it. Where they do not, nobody is
    said to agree.

    Parameters
    ----------
    results : Mapping
        Stations by name.
    reference : StatedValue, optional
        Independent of the stations.

    Raises
    ------
    ComparisonError
        If there is no result.
    """
    if not results:
        raise ComparisonError("No station has a result yet.")
    robust, why_no_robust = _robust_of(results)
    if reference is not None:
        held = dict.fromkeys(results, _Held(against=reference))
        why_no_en = ""
    else:
        held, why_no_en = _others_of(results)
    return ComparedStations(
        stations=tuple(_compared(name, stated, held.get(name)) for name, stated in results.items()),
        robust=robust,
        why_no_robust=why_no_robust,
        why_no_en=why_no_en,
    )


def _robust_of(results: Mapping[str, StatedValue]) -> tuple[RobustMean | None, str]:
    try:
        return algorithm_a([one.value for one in results.values()]), ""
    except ComparisonError as error:
        return None, str(error)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """What a station is held against, and whether to lie by it says anything."""

    against: StatedValue
    can_agree: bool = True


def _compared(name: str, stated: StatedValue, held: _Held | None) -> ComparedStation:
    if held is None:
        return ComparedStation(name=name, stated=stated, assigned=None)
    return ComparedStation(name=name, stated=stated, assigned=held.against, can_agree=held.can_agree)


def _others_of(results: Mapping[str, StatedValue]) -> tuple[dict[str, _Held], str]:
    """For each station what the others say; for none, and why, where one of those is missing."""
    if len(results) < NO_REFERENCE_FEWEST:
        return {}, (
            f"Without a reference each station is held against the mean of the others, which needs "
            f"{NO_REFERENCE_FEWEST} stations or more; there are {len(results)}."
        )
    held = {}
    for name in results:
        others = {other: stated for other, stated in results.items() if other != name}
        robust, why = _robust_of(others)
        if robust is not None and robust.standard_u <= APART * _stated_u(others):
            held[name] = _Held(against=_mean_of(robust, others))
            continue
        median = _median_of(_not_standing_out(others, results), results)
        if median is not None:
            held[name] = _Held(against=median)
        elif robust is not None:
            held[name] = _Held(against=_mean_of(robust, others), can_agree=False)
        else:
            return {}, f"{name} cannot be held against the others. {why}"
    return held, ""


def _mean_of(robust: RobustMean, others: Mapping[str, StatedValue], factor: float = 1.0) -> StatedValue:
    """The robust mean with what its scatter says, or what the stations say themselves where that is more.

    A few results may lie close to each other by chance.
    """
    standard_u = max(robust.standard_u, factor * _stated_u(others))
    return StatedValue(value=robust.mean, expanded_u=K_OF_A_MEAN * standard_u, k=K_OF_A_MEAN)


def _stated_u(stations: Mapping[str, StatedValue]) -> float:
    """Standard uncertainty of the mean of stations by what they state themselves. [unit]"""
    return math.hypot(*(one.standard_u for one in stations.values())) / len(stations)


def _not_standing_out(
    others: Mapping[str, StatedValue], results: Mapping[str, StatedValue]
) -> dict[str, StatedValue]:
    """Others that lie by the median of all, as far as their u and the median deviation of all explain."""
    middle = median_and_deviation([one.value for one in results.values()])
    return {
        name: one
        for name, one in others.items()
        if abs(one.value - middle.mean) <= APART * math.hypot(one.standard_u, middle.spread)
    }


def _median_of(kept: Mapping[str, StatedValue], results: Mapping[str, StatedValue]) -> StatedValue | None:
    """Median of stations; None where they lie apart themselves, or it speaks for half of all at the most."""
    if len(kept) < _FEWEST_KEPT:
        return None
    middle = median_and_deviation([one.value for one in kept.values()])
    if middle.standard_u > APART * _stated_u(kept):
        return None
    # A median is less sure than a mean by as much.
    median = _mean_of(middle, kept, MEAN_U_FACTOR)
    by_it = sum(
        abs(one.value - median.value) <= APART * math.hypot(one.standard_u, median.standard_u)
        for one in results.values()
    )
    return median if 2 * by_it > len(results) else None
