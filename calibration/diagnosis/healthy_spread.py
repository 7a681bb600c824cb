"""How far good parts of one curve scatter: the maker's tolerance as a prior for R25 and beta."""

import math
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.measured_points import Matrix, Vector

#: Where a curve prints no tolerance: half-widths of R25 and of beta, relative. Assumed; usual for senders.
DEFAULT_R25_HALF_WIDTH = 0.05
DEFAULT_BETA_HALF_WIDTH = 0.01

#: The nominal temperature of a thermistor (IEC 60539-1). [°C]
NOMINAL_C = 25.0
# Steps of the grid over the parts that keep every printed limit: even in number, so that it is symmetrical.
_GRID = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthySpread:
    """Covariance of (R25, beta) among good parts, both as relative deviations.

    Attributes
    ----------
    covariance : Matrix, shape (2, 2)
    r25_half_width, beta_half_width : float
        Largest deviation of a good part. [1]
    printed : bool
        Whether it comes from printed limits; else from the default.
    """

    covariance: Matrix
    r25_half_width: float
    beta_half_width: float
    printed: bool


def beta_shape(curve: ReferenceCurve, temperature_c: Vector) -> Vector:
    """Change of ``ln R`` for a relative change of beta by one, with R25 held. [1]

    It is ``ln(R(t)/R(25 °C))``; a curve that does not reach 25 °C is held at its nearest end.
    """
    pivot_c = min(max(NOMINAL_C, curve.valid_from_c), curve.valid_to_c)
    at_pivot = math.log(curve.nominal.resistance_ohm(pivot_c))
    return np.array([math.log(curve.nominal_ohm(t)) - at_pivot for t in temperature_c.tolist()])


def healthy_spread(curve: ReferenceCurve) -> HealthySpread:
    """Spread of good parts of a curve.

    Where limits are printed, every pair of R25 and beta that keeps all of them is as likely as any
    other; mean and covariance are those of that region. Without printed limits R25 and beta are each
    rectangular (JCGM 100:2008, 4.3.7) within the default half-widths.
    """
    if not curve.has_tolerance:
        return _rectangular(DEFAULT_R25_HALF_WIDTH, DEFAULT_BETA_HALF_WIDTH)
    limited_c = np.array(curve.printed_temperatures_c or _five_between(curve), dtype=float)
    half_width = np.array([_log_half_width(curve, t) for t in limited_c.tolist()])
    return _within(half_width, beta_shape(curve, limited_c))


def _rectangular(r25: float, beta: float) -> HealthySpread:
    return HealthySpread(
        covariance=np.diag([r25**2 / 3.0, beta**2 / 3.0]),
        r25_half_width=r25,
        beta_half_width=beta,
        printed=False,
    )


def _within(half_width: Vector, shape: Vector) -> HealthySpread:
    """Spread of all (a, b) with ``|a + b shape| <= half_width`` at every printed temperature."""
    first, second = np.triu_indices(shape.size, 1)
    if first.size:
        b_most = float(
            np.min((half_width[first] + half_width[second]) / np.abs(shape[first] - shape[second]))
        )
    else:
        b_most = DEFAULT_BETA_HALF_WIDTH
    a_most = float(np.min(half_width + b_most * np.abs(shape)))
    a, b = np.meshgrid(_cells(a_most), _cells(b_most), indexing="ij")
    kept = np.all(np.abs(a[..., np.newaxis] + b[..., np.newaxis] * shape) <= half_width, axis=-1)
    pairs = np.stack([a[kept], b[kept]])
    return HealthySpread(
        covariance=pairs @ pairs.T / pairs.shape[1],
        r25_half_width=float(np.max(np.abs(pairs[0]))),
        beta_half_width=float(np.max(np.abs(pairs[1]))),
        printed=True,
    )


def _cells(most: float) -> Vector:
    """Middles of equal cells from ``-most`` to ``most``."""
    return most * (2.0 * (np.arange(_GRID) + 0.5) / _GRID - 1.0)


def _log_half_width(curve: ReferenceCurve, temperature_c: float) -> float:
    limits = curve.limits_ohm(temperature_c)
    assert limits is not None
    return 0.5 * math.log(limits[1] / limits[0])


def _five_between(curve: ReferenceCurve) -> tuple[float, ...]:
    return tuple(np.linspace(curve.valid_from_c, curve.valid_to_c, 5).tolist())
