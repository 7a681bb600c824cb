"""Stations compared: En and zeta numbers, and a mean and spread that a wild station does not move."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationError

#: Rounded constants of the standard: median deviation to standard deviation, and the shrinking of
#: winsorized scatter at 1.5 s* (ISO 13528:2015, Annex C.3).
MEDIAN_FACTOR = 1.483
SCATTER_FACTOR = 1.134
CUT = 1.5
#: Standard uncertainty of the robust mean over s*/√p (ISO 13528:2015, 7.7.3).
MEAN_U_FACTOR = 1.25

_SETTLED = 1e-10
_MOST_ROUNDS = 1000
_FEWEST_STATIONS = 3


class ComparisonError(CalibrationError):
    """Results that cannot be compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RobustMean:
    """Mean and spread by Algorithm A.

    Attributes
    ----------
    mean, spread : float
        x* and s*. [unit]
    stations : int
        How many results.
    rounds : int
        How many times it was gone through; 0 for the median, from which it starts.
    """

    mean: float
    spread: float
    stations: int
    rounds: int

    @property
    def standard_u(self) -> float:
        """Standard uncertainty of the mean: 1.25 s*/√p. [unit]"""
        return MEAN_U_FACTOR * self.spread / math.sqrt(self.stations)


def en_number(*, value: float, expanded_u: float, reference: float, reference_expanded_u: float) -> float:
    """En: difference over the expanded uncertainties together; satisfactory up to ±1.

    Parameters
    ----------
    value, expanded_u : float
        A station's result. [unit]
    reference, reference_expanded_u : float
        What it is held against, independent of it. [unit]

    Raises
    ------
    ComparisonError
        If an expanded uncertainty is negative, or both are zero.

    References
    ----------
    ISO 13528:2015, 9.7; ISO/IEC 17043.
    """
    return _over_uncertainty(value - reference, expanded_u, reference_expanded_u, "expanded uncertainty")


def zeta_score(*, value: float, standard_u: float, reference: float, reference_standard_u: float) -> float:
    """Zeta: difference over the standard uncertainties together; questionable from ±2, bad from ±3.

    Parameters
    ----------
    value, standard_u : float
        A station's result. [unit]
    reference, reference_standard_u : float
        What it is held against, independent of it. [unit]

    Raises
    ------
    ComparisonError
        If a standard uncertainty is negative, or both are zero.

    References
    ----------
    ISO 13528:2015, 9.6.
    """
    return _over_uncertainty(value - reference, standard_u, reference_standard_u, "standard uncertainty")


def algorithm_a(values: Sequence[float], *, most_rounds: int = _MOST_ROUNDS) -> RobustMean:
    """Robust mean and spread of one artefact measured at every station.

    Results further than 1.5 s* from the mean are pulled in to there, again and again, until nothing moves.

    Parameters
    ----------
    values : sequence of float, shape (stations,)
        [unit]
    most_rounds : int
        Where to stop, for looking at the way there.

    Raises
    ------
    ComparisonError
        If there are fewer than three results, one is no number, or more than half are the same.

    References
    ----------
    ISO 13528:2015, Annex C.3.1 (Algorithm A).
    """
    results = np.asarray(values, dtype=float)
    if results.size < _FEWEST_STATIONS:
        raise ComparisonError(
            f"No robust mean of {results.size}: it needs {_FEWEST_STATIONS} stations or more."
        )
    if not np.isfinite(results).all():
        raise ComparisonError("A result is no number. Leave that station out, and say so.")
    mean = float(np.median(results))
    spread = MEDIAN_FACTOR * float(np.median(np.abs(results - mean)))
    if spread == 0.0:
        raise ComparisonError(
            "More than half of the results are the same, so their spread cannot be told: give more digits."
        )
    rounds, settled = 0, False
    while not settled and rounds < most_rounds:
        rounds += 1
        pulled = np.clip(results, mean - CUT * spread, mean + CUT * spread)
        before = mean, spread
        mean, spread = float(pulled.mean()), SCATTER_FACTOR * float(pulled.std(ddof=1))
        settled = max(abs(mean - before[0]), abs(spread - before[1])) <= _SETTLED * spread
    return RobustMean(mean=mean, spread=spread, stations=results.size, rounds=rounds)


def median_and_deviation(values: Sequence[float]) -> RobustMean:
    """Median and scaled median absolute deviation: held by half of the results, however wild the rest are.

    Algorithm A, which starts here, is surer of many results but is carried away by one wild of four, or two
    of six. The deviation is 0 where more than half are the same.

    Parameters
    ----------
    values : sequence of float, shape (stations,)
        [unit]

    Raises
    ------
    ComparisonError
        If there is none, or one is no number.

    References
    ----------
    ISO 13528:2015, Annex C.2.1 (median) and C.2.2 (MADe).
    """
    results = np.asarray(values, dtype=float)
    if not results.size or not np.isfinite(results).all():
        raise ComparisonError("A median needs results that are numbers.")
    median = float(np.median(results))
    spread = MEDIAN_FACTOR * float(np.median(np.abs(results - median)))
    return RobustMean(mean=median, spread=spread, stations=results.size, rounds=0)


def _over_uncertainty(difference: float, one: float, other: float, what: str) -> float:
    together = math.hypot(one, other)
    if one < 0.0 or other < 0.0 or not 0.0 < together < math.inf:
        raise ComparisonError(f"A comparison needs {what} that is above zero.")
    return difference / together
