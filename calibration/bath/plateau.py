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

    The variance of the mean is ``s²/n (1 + 2 Σ ρ_i)``. Sums of neighbouring pairs of
    autocorrelations fall off and stay positive in any reversible process; the sum ends where the
    estimated pairs stop doing so, because from there on they are scatter.

    It comes out too small where the series knows itself for longer than about a twentieth of its length:
    of 1,000 first-order series of 240 readings the interval held the mean in 95.4 % at a lag-one
    correlation of 0.5, 94.0 % at 0.8, 92.9 % at 0.9, 87.1 % at 0.95 and 70.6 % at 0.99. Slower wandering
    needs a line of its own in the budget, as the gradient has.

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
    .. [1] C. J. Geyer, Practical Markov chain Monte Carlo, Statistical Science 7 (1992) 473-483,
       initial monotone sequence estimator (form quoted from memory).
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
    # Taking the mean off lowers the scatter of a correlated series by the mean's own variance.
    variance = scatter / (count * (1.0 - 1.0 / effective))
    return PlateauMean(
        mean=float(series.mean()),
        standard_u=math.sqrt(variance / effective),
        effective_readings=effective,
    )


def _variance_factor(centred: np.ndarray, scatter: float) -> float:
    """``1 + 2 Σ ρ_i`` over the initial monotone sequence of pairs."""
    count = centred.size
    total, smallest = 0.0, math.inf
    for lag in range(0, count - 1, 2):
        pair = float(centred[: count - lag] @ centred[lag:]) / scatter
        pair += float(centred[: count - lag - 1] @ centred[lag + 1 :]) / scatter
        if pair <= 0.0:
            break
        smallest = min(smallest, pair)
        total += smallest
    return max(2.0 * total - 1.0, 1.0)
