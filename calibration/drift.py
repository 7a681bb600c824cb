"""How an instrument drifts from one certificate to the next, and what it may be off by today.

A straight line through the certified values, each weighted by its own certificate. Where they scatter by
more than their certificates explain, the line's uncertainty grows by the Birge ratio.

A laboratory repeats part of its error in each of its certificates. With certificates that are alike, the
variance of a value on the line is linear in the share they have in common, so it lies between the line's own
(nothing in common) and that of a single certificate (everything): `Drift.standard_u` takes the larger. The
slope is surer the more they have in common; its uncertainty here is for nothing in common.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from calibration.errors import CalibrationError

DAYS_PER_YEAR = 365.25
#: Coverage factor of what a line says: the certificates' own degrees of freedom are not printed on them.
K = 2.0
#: Scatter that certificates explain less often than this is said to be too much.
UNLIKELY = 0.05

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]


class DriftError(CalibrationError):
    """Certificates that show no drift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedValue:
    """One quantity as one certificate gives it.

    Attributes
    ----------
    on : date
        Date of the certificate.
    value, expanded_u : float
        In one unit.
    k : float
        Coverage factor.
    """

    on: date
    value: float
    expanded_u: float
    k: float

    @property
    def standard_u(self) -> float:
        """Standard uncertainty, in the unit of the value."""
        return self.expanded_u / self.k


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeightedLine:
    """A straight line ``y = level + slope (x - middle)`` by generalised least squares.

    Attributes
    ----------
    middle : float
        Where level and slope share nothing, for values that share nothing.
    level, slope : float
    covariance : ndarray, shape (2, 2)
        Of level and slope, by the uncertainties that were put in.
    chi_squared : float
    degrees_of_freedom : int
    """

    middle: float
    level: float
    slope: float
    covariance: Matrix
    chi_squared: float
    degrees_of_freedom: int

    @property
    def birge_ratio(self) -> float:
        """Scatter about the line over what the uncertainties explain; 1 with nothing left to test."""
        if self.degrees_of_freedom < 1:
            return 1.0
        return math.sqrt(self.chi_squared / self.degrees_of_freedom)

    def value_at(self, x: float) -> float:
        """Value on the line."""
        return self.level + self.slope * (x - self.middle)

    def standard_u_at(self, x: float) -> float:
        """Standard uncertainty of the value on the line, by the uncertainties that were put in."""
        shape = np.array([1.0, x - self.middle])
        return float(np.sqrt(shape @ self.covariance @ shape))

    def standard_u_of_slope(self) -> float:
        """Standard uncertainty of the slope, by the uncertainties that were put in."""
        return float(np.sqrt(self.covariance[1, 1]))


def weighted_line(x: Sequence[float], y: Sequence[float], covariance: Matrix) -> WeightedLine:
    """Straight line through values whose covariance is known.

    Parameters
    ----------
    x, y : sequence of float, shape (n,)
    covariance : ndarray, shape (n, n)
        Of ``y``.

    Raises
    ------
    DriftError
        If there are not two different ``x``.

    References
    ----------
    A. C. Aitken, Proc. R. Soc. Edinburgh 55 (1935) 42-48.
    """
    if len(set(x)) < 2:
        raise DriftError("A line needs values at two different places at least.")
    at, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    weights = np.linalg.inv(covariance)
    middle = float(np.sum(weights @ at) / np.sum(weights))
    design = np.stack([np.ones_like(at), at - middle], axis=1)
    spread: Matrix = np.linalg.inv(design.T @ weights @ design)
    level, slope = spread @ design.T @ weights @ values
    left = values - design @ np.array([level, slope])
    return WeightedLine(
        middle=middle,
        level=float(level),
        slope=float(slope),
        covariance=spread,
        chi_squared=float(left @ weights @ left),
        degrees_of_freedom=len(values) - 2,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A line through the certified values of one quantity.

    Attributes
    ----------
    values : tuple[CertifiedValue, ...]
        The oldest first.
    line : WeightedLine
        Over years since the oldest.
    """

    values: tuple[CertifiedValue, ...]
    line: WeightedLine

    @property
    def per_year(self) -> float:
        """Change in a year."""
        return self.line.slope

    @property
    def expanded_u_per_year(self) -> float:
        """Expanded uncertainty of that, k = 2."""
        return K * self._growth * self.line.standard_u_of_slope()

    @property
    def is_seen(self) -> bool:
        """Whether the change is larger than its uncertainty."""
        return abs(self.per_year) > self.expanded_u_per_year

    @property
    def scatters(self) -> bool:
        """Whether the values leave the line by more than their certificates explain."""
        freedom = self.line.degrees_of_freedom
        return freedom > 0 and float(stats.chi2.sf(self.line.chi_squared, freedom)) < UNLIKELY

    def value_on(self, day: date) -> float:
        """Value on a day, if it goes on along the line."""
        return self.line.value_at(self._years(day))

    def expanded_u_on(self, day: date) -> float:
        """Expanded uncertainty of that, k = 2; never less than that of the newest certificate."""
        return K * max(self._growth * self.line.standard_u_at(self._years(day)), self.values[-1].standard_u)

    def is_far_on(self, day: date) -> bool:
        """Whether a day lies further beyond the newest certificate than the certificates reach back."""
        last, first = self.values[-1].on, self.values[0].on
        return (day - last).days > (last - first).days

    @property
    def _growth(self) -> float:
        return max(1.0, self.line.birge_ratio)

    def _years(self, day: date) -> float:
        return (day - self.values[0].on).days / DAYS_PER_YEAR


def drift_of(values: Sequence[CertifiedValue]) -> Drift:
    """Drift of a quantity over its certificates.

    Parameters
    ----------
    values : sequence of CertifiedValue
        In any order.

    Raises
    ------
    DriftError
        If they are of fewer than two days, or one has no uncertainty.
    """
    in_order = tuple(sorted(values, key=lambda value: value.on))
    if len({value.on for value in in_order}) < 2:
        raise DriftError("One certificate shows no drift: the second one will.")
    if not all(0.0 < value.standard_u < math.inf for value in in_order):
        raise DriftError("Every certified value needs an uncertainty above zero.")
    years = [(value.on - in_order[0].on).days / DAYS_PER_YEAR for value in in_order]
    covariance = np.diag([value.standard_u**2 for value in in_order])
    return Drift(values=in_order, line=weighted_line(years, [value.value for value in in_order], covariance))
