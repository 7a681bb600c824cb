"""One artefact at every station: each held against the reference, and mean and spread of them all."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from calibration.comparison import ComparisonError, RobustMean, algorithm_a, en_number

#: En numbers up to this are satisfactory (ISO 13528:2015, 9.7).
MOST_EN = 1.0
#: Coverage factor of what is stated of a mean of many.
K_OF_A_MEAN = 2.0
#: Below this k an uncertainty is a standard one and covers far less than 95 %: a rectangle's k is 1.65.
LEAST_K, MOST_K = 1.6, 5.0
NO_REFERENCE_FEWEST = 4


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
    """

    name: str
    stated: StatedValue
    assigned: StatedValue | None

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
        """Up to ±1 it agrees; None where there is nothing to agree with."""
        return None if self.en is None else agreement_of(self.en)


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
        assigned: dict[str, StatedValue] = dict.fromkeys(results, reference)
        why_no_en = ""
    else:
        assigned, why_no_en = _others_of(results)
    return ComparedStations(
        stations=tuple(
            ComparedStation(name=name, stated=stated, assigned=assigned.get(name))
            for name, stated in results.items()
        ),
        robust=robust,
        why_no_robust=why_no_robust,
        why_no_en=why_no_en,
    )


def _robust_of(results: Mapping[str, StatedValue]) -> tuple[RobustMean | None, str]:
    try:
        return algorithm_a([one.value for one in results.values()]), ""
    except ComparisonError as error:
        return None, str(error)


def _others_of(results: Mapping[str, StatedValue]) -> tuple[dict[str, StatedValue], str]:
    """For each station the robust mean of the others; for none, and why, where one of those is missing."""
    if len(results) < NO_REFERENCE_FEWEST:
        return {}, (
            f"Without a reference each station is held against the mean of the others, which needs "
            f"{NO_REFERENCE_FEWEST} stations or more; there are {len(results)}."
        )
    assigned = {}
    for name in results:
        others = {other: stated for other, stated in results.items() if other != name}
        robust, why = _robust_of(others)
        if robust is None:
            return {}, f"{name} cannot be held against the others. {why}"
        assigned[name] = _mean_of(robust, others)
    return assigned, ""


def _mean_of(robust: RobustMean, others: Mapping[str, StatedValue]) -> StatedValue:
    """The robust mean with what its scatter says, or what the stations say themselves where that is more.

    A few results may lie close to each other by chance.
    """
    stated_u = math.hypot(*(one.standard_u for one in others.values())) / len(others)
    standard_u = max(robust.standard_u, stated_u)
    return StatedValue(value=robust.mean, expanded_u=K_OF_A_MEAN * standard_u, k=K_OF_A_MEAN)
