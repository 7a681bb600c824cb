"""Mean of a plateau, with the standard uncertainty of a series whose neighbours know each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.bath.slow_wander import weigh_wander
from calibration.uncertainty.budget import COVERAGE_PROBABILITY, coverage_factor

Vector = NDArray[np.float64]

_FEWEST_READINGS = 20

#: Where tails are judged from: one standard deviation of a normal distribution. [1]
_CORE = 0.6827
_FEWEST_DEGREES, _MOST_DEGREES = 2, 100


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateauMean:
    """Mean of a series whose neighbours know each other.

    Attributes
    ----------
    mean : float
        Of the series, in its own unit.
    standard_u : float
        Standard uncertainty of the mean.
    degrees_of_freedom : float
        Of the standard uncertainty, a whole number: its coverage factor times ``standard_u`` is the
        half-width that holds the true mean 95.45 times of 100.
    slow_probability : float
        Probability that the series is too short for its wander: that it knows itself for longer than a
        third of its length. [1]
    """

    mean: float
    standard_u: float
    degrees_of_freedom: float
    slow_probability: float

    @property
    def expanded_u(self) -> float:
        """Half-width of the 95.45 % interval, in the unit of the series."""
        return coverage_factor(self.degrees_of_freedom) * self.standard_u

    @property
    def is_too_short(self) -> bool:
        """True where the series more likely than not is too short for its wander."""
        return self.slow_probability > 0.5


def plateau_mean(values: Sequence[float]) -> PlateauMean:
    """Mean of equally spaced readings and its standard uncertainty.

    Every memory that the series may have is weighed by what the series says of it
    (`calibration.bath.slow_wander`); ``s/√n`` would be right for none but white noise.

    Where a series is longer than some twenty memories the interval is hardly wider than that of a known
    correlation. Where it is shorter the memory cannot be told, and the interval is wide enough for what it
    may be, so that it then covers more than it says. Beyond a memory of two lengths it covers less, and says
    that it is too short. Of 2,000 series of 240 readings (seed 1) the interval held the mean so often, in per
    cent:

    ==================================  ======  ==========================
    series                               held   width over that of a known
                                                memory (mean)
    ==================================  ======  ==========================
    white noise                         100.0   2.8
    correlation of neighbours 0.5        95.9   1.1
    0.8                                  96.3   1.2
    0.9                                  97.5   2.4
    0.95                                 98.7   3.9
    0.98                                 99.3   2.6
    0.99                                 98.7   1.7
    0.995                                94.5   1.1
    0.9983 (two and a half lengths)      74.0   0.6
    half of it 0.99, half white          96.6   1.6
    a tenth of it 0.99, the rest white   94.7   1.5
    ==================================  ======  ==========================

    Parameters
    ----------
    values : sequence of float, shape (n,)
        Readings of one plateau, in order, equally spaced.

    Raises
    ------
    ValueError
        If there are fewer than 20 readings.
    """
    return plateau_means([values])[0]


def plateau_means(series: ArrayLike) -> tuple[PlateauMean, ...]:
    """Means of many series of one length, worked out together.

    Parameters
    ----------
    series : array_like, shape (m, n)

    Raises
    ------
    ValueError
        If they have fewer than 20 readings.
    """
    rows = np.asarray(series, dtype=float)
    if rows.shape[1] < _FEWEST_READINGS:
        raise ValueError(
            f"{rows.shape[1]} readings are too few for a plateau: {_FEWEST_READINGS} are needed."
        )
    moves = np.ptp(rows, axis=1) > 0.0
    found = [_flat(row) for row in rows]
    if moves.any():
        for place, mean in zip(np.flatnonzero(moves), _moving(rows[moves]), strict=True):
            found[place] = mean
    return tuple(found)


def _flat(row: Vector) -> PlateauMean:
    return PlateauMean(
        mean=float(row[0]), standard_u=0.0, degrees_of_freedom=row.size - 1.0, slow_probability=0.0
    )


def _moving(rows: NDArray[np.float64]) -> list[PlateauMean]:
    weights = weigh_wander(rows)
    wide, core = weights.half_width(COVERAGE_PROBABILITY), weights.half_width(_CORE)
    slow = weights.slow_probability(rows.shape[1])
    degrees = [_degrees_of(float(tails)) for tails in wide / core]
    return [
        PlateauMean(
            mean=float(row.mean()),
            standard_u=float(half_width) / coverage_factor(freedom),
            degrees_of_freedom=freedom,
            slow_probability=float(probability),
        )
        for row, half_width, freedom, probability in zip(rows, wide, degrees, slow, strict=True)
    ]


def _degrees_of(tails: float) -> int:
    """Degrees of freedom of the Student t whose tails are as heavy, rounded down."""
    as_heavy = np.flatnonzero(_tails_of_t() >= tails)
    return _FEWEST_DEGREES + (int(as_heavy[-1]) if as_heavy.size else 0)


@cache
def _tails_of_t() -> Vector:
    """Coverage factor over that of one standard deviation, from the fewest degrees of freedom on."""
    return np.array(
        [
            coverage_factor(degrees) / coverage_factor(degrees, _CORE)
            for degrees in range(_FEWEST_DEGREES, _MOST_DEGREES + 1)
        ]
    )
