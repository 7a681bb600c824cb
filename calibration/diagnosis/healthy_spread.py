"""How far good parts of one curve scatter: the maker's tolerance as a prior for R25 and beta."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.measured_points import Matrix, Vector

#: Where a curve prints no tolerance: half-widths of R25 and of beta, relative. Assumed; usual for senders.
DEFAULT_R25_HALF_WIDTH = 0.05
DEFAULT_BETA_HALF_WIDTH = 0.01

#: The nominal temperature of a thermistor (IEC 60539-1). [°C]
NOMINAL_C = 25.0
# Steps of the grid over good parts, each way: even in number, so that it is symmetrical.
_GRID = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthySpread:
    """How (R25, beta) scatter among good parts, both as relative deviations.

    Attributes
    ----------
    parts : Matrix, shape (m, 2)
        Good parts, evenly spread over all there can be.
    cell : Vector, shape (2,)
        Distance between neighbours.
    beta_column : Vector, shape (c,)
        Every beta of the parts, once.
    r25_low, r25_high : Vector, shape (c,)
        Between which R25 of good parts of that beta lies.
    covariance : Matrix, shape (2, 2)
        Of all of them.
    r25_half_width, beta_half_width : float
        Largest deviation of a good part. [1]
    printed : bool
        Whether it comes from printed limits; else from the default.
    """

    parts: Matrix
    cell: Vector
    beta_column: Vector
    r25_low: Vector
    r25_high: Vector
    covariance: Matrix
    r25_half_width: float
    beta_half_width: float
    printed: bool


def beta_shape(curve: ReferenceCurve, log_ohm: Vector) -> Vector:
    """Change of ``ln R`` for a relative change of beta by one, with R25 held, where a curve has ``ln R``. [1]

    It is ``ln(R(t)/R(25 °C))``; a curve that does not reach 25 °C is held at its nearest end.
    """
    pivot_c = min(max(NOMINAL_C, curve.valid_from_c), curve.valid_to_c)
    return log_ohm - math.log(curve.nominal.resistance_ohm(pivot_c))


@lru_cache(maxsize=64)
def healthy_spread(curve: ReferenceCurve) -> HealthySpread:
    """Spread of good parts of a curve.

    Where limits are printed, every pair of R25 and beta that keeps all of them is as likely as any
    other. Without printed limits R25 and beta are each rectangular (JCGM 100:2008, 4.3.7) within the
    default half-widths.
    """
    if not curve.has_tolerance:
        shape, half_width = np.empty(0), np.empty(0)
        most = (DEFAULT_R25_HALF_WIDTH, DEFAULT_BETA_HALF_WIDTH)
    else:
        limited_c = np.array(curve.printed_temperatures_c or _five_between(curve), dtype=float)
        half_width = np.array([_log_half_width(curve, t) for t in limited_c.tolist()])
        shape = beta_shape(curve, np.log([curve.nominal_ohm(t) for t in limited_c.tolist()]))
        most = _most_within(half_width, shape)
    parts = _within(most, half_width, shape)
    cell = 2.0 * np.array(most) / _GRID
    # A part is the middle of its cell: half a cell more reaches to the edge.
    beta_column, r25_low, r25_high = _columns_of(parts, cell[0])
    r25_half_width, beta_half_width = (np.max(np.abs(parts), axis=0) + 0.5 * cell).tolist()
    return HealthySpread(
        parts=parts,
        cell=cell,
        beta_column=beta_column,
        r25_low=r25_low,
        r25_high=r25_high,
        covariance=parts.T @ parts / parts.shape[0],
        r25_half_width=r25_half_width,
        beta_half_width=beta_half_width,
        printed=curve.has_tolerance,
    )


def _most_within(half_width: Vector, shape: Vector) -> tuple[float, float]:
    """Largest deviations of R25 and of beta that any part within the limits can have."""
    first, second = np.triu_indices(shape.size, 1)
    b_most = float(np.min((half_width[first] + half_width[second]) / np.abs(shape[first] - shape[second])))
    return float(np.min(half_width + b_most * np.abs(shape))), b_most


def _within(most: tuple[float, float], half_width: Vector, shape: Vector) -> Matrix:
    """All parts (a, b) of a grid with ``|a + b shape| <= half_width`` at every printed temperature."""
    middles = 2.0 * (np.arange(_GRID) + 0.5) / _GRID - 1.0
    a, b = np.meshgrid(most[0] * middles, most[1] * middles, indexing="ij")
    parts = np.stack([a.ravel(), b.ravel()], axis=1)
    kept = np.all(np.abs(parts[:, :1] + parts[:, 1:] * shape) <= half_width, axis=1)
    return parts[kept]


def _columns_of(parts: Matrix, r25_cell: float) -> tuple[Vector, Vector, Vector]:
    """Each beta with the lowest and the highest R25: limits on straight lines leave no gap between them."""
    beta_column = np.unique(parts[:, 1])
    mine = [parts[parts[:, 1] == beta, 0] for beta in beta_column.tolist()]
    low = np.array([np.min(r25) for r25 in mine]) - 0.5 * r25_cell
    high = np.array([np.max(r25) for r25 in mine]) + 0.5 * r25_cell
    return beta_column, low, high


def _log_half_width(curve: ReferenceCurve, temperature_c: float) -> float:
    limits = curve.limits_ohm(temperature_c)
    assert limits is not None
    return 0.5 * math.log(limits[1] / limits[0])


def _five_between(curve: ReferenceCurve) -> tuple[float, ...]:
    return tuple(np.linspace(curve.valid_from_c, curve.valid_to_c, 5).tolist())
