"""Mean of a plateau, with the standard uncertainty of an autocorrelated series."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_FEWEST_READINGS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateauMean:
    """Mean of a series whose neighbours know each other.

    Attributes
    ----------
    mean : float
        Of the series, in its own unit.
    standard_u : float
        Standard uncertainty of the mean.
    effective_readings : float
        How many independent readings it is worth.
    """

    mean: float
    standard_u: float
    effective_readings: float

    @property
    def degrees_of_freedom(self) -> float:
        """Of the standard uncertainty: effective readings less one, at least one."""
        return max(self.effective_readings - 1.0, 1.0)


def plateau_mean(values: Sequence[float]) -> PlateauMean:
    """Mean of equally spaced readings and its standard uncertainty [1]_.

    The variance of the mean is ``s²/n (1 + 2 Σ (1 - i/n) ρ_i)`` over the lags up to the last one
    whose autocorrelation stands out of its own scatter (Bartlett), not beyond a quarter of the series.

    Parameters
    ----------
    values : sequence of float, shape (n,)
        Readings of one plateau, in order, equally spaced.

    Raises
    ------
    ValueError
        If there are fewer than 20 readings.

    References
    ----------
    .. [1] N. F. Zhang, Calculation of the uncertainty of the mean of autocorrelated measurements,
       Metrologia 43 (2006) S276-S281 (form of the estimate quoted from memory).
    """
    series = np.asarray(values, dtype=float)
    count = series.size
    if count < _FEWEST_READINGS:
        raise ValueError(f"{count} readings are too few for a plateau: {_FEWEST_READINGS} are needed.")
    centred = series - series.mean()
    scatter = float(centred @ centred)
    if scatter == 0.0:
        return PlateauMean(mean=float(series[0]), standard_u=0.0, effective_readings=float(count))
    factor = _variance_factor(centred, scatter)
    effective = min(max(count / factor, 2.0), float(count))
    # s² of a correlated series comes out low by about the same factor that spoils the mean.
    variance = scatter / (count * (1.0 - 1.0 / effective))
    return PlateauMean(
        mean=float(series.mean()),
        standard_u=math.sqrt(variance / effective),
        effective_readings=effective,
    )


def _variance_factor(centred: np.ndarray, scatter: float) -> float:
    """``1 + 2 Σ (1 - i/n) ρ_i`` up to the last lag that stands out."""
    count = centred.size
    autocorrelation = [
        float(centred[:-lag] @ centred[lag:]) / scatter for lag in range(1, max(count // 4, 2))
    ]
    last, squares = 0, 0.0
    for lag, rho in enumerate(autocorrelation, start=1):
        bartlett = math.sqrt((1.0 + 2.0 * squares) / count)
        if abs(rho) > 1.96 * bartlett:
            last = lag
        squares += rho * rho
    return 1.0 + 2.0 * sum((1.0 - lag / count) * autocorrelation[lag - 1] for lag in range(1, last + 1))
