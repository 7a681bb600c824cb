"""How well an explanation predicted the points: its marginal likelihood over the size of the fault.

The likelihood is normal in ``ln R`` with the full covariance of the points [1]_. A good sender is one of the
parts that keep the maker's tolerance, all alike, and a faulty one was such a part. A fault of some size is
averaged over the prior of its size, from where it could be seen at all: a smaller one is, for these points,
a good sender.

References
----------
.. [1] E. T. Jaynes, Probability Theory: The Logic of Science (2003), chapter 20, equations 20.1 to 20.4.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from calibration.diagnosis.curve_view import CurveView
from calibration.diagnosis.fault_shapes import Branch
from calibration.diagnosis.measured_points import Matrix, MeasuredPoints, Vector

#: From this distance on, in standard deviations of healthy points, a fault can be seen.
VISIBLE_FROM = 1.5

_COARSE = 48
_FINE = 17
_ZOOMS_AT_MOST = 8
# Grid steps across the peak, in units of the log likelihood: about 0.6 standard deviations.
_SMOOTH_ENOUGH = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedEvidence:
    """Evidence of one branch.

    Attributes
    ----------
    branch : Branch
    log_integral : float
        Logarithm of the likelihood integrated over the prior density, not yet normalised.
    prior_mass : float
        Integral of that prior density alone.
    size, size_u : float
        Mean and standard deviation of the size, as computed.
    """

    branch: Branch
    log_integral: float
    prior_mass: float
    size: float
    size_u: float


def log_normal_density(residual: Matrix, covariance: Matrix) -> Vector:
    """Logarithm of the normal density, over the last axes.

    Parameters
    ----------
    residual : Matrix, shape (..., n)
    covariance : Matrix, shape (..., n, n)
    """
    lower = np.linalg.cholesky(covariance)
    white = np.linalg.solve(lower, residual[..., np.newaxis])[..., 0]
    log_determinant = np.sum(np.log(np.diagonal(lower, axis1=-2, axis2=-1)), axis=-1)
    count = residual.shape[-1]
    density: Vector = (
        -0.5 * np.sum(white * white, axis=-1) - log_determinant - 0.5 * count * math.log(2.0 * math.pi)
    )
    return density


def log_sum(logarithms: Matrix) -> Vector:
    """Logarithm of the sum of what these are the logarithms of, over the last axis."""
    top = np.max(logarithms, axis=-1, keepdims=True)
    total: Vector = np.log(np.sum(np.exp(logarithms - top), axis=-1)) + top[..., 0]
    return total


def healthy_log_evidence(points: MeasuredPoints, view: CurveView) -> float:
    """Logarithm of the likelihood averaged over all good parts. Minus infinity for an open point.

    Parameters
    ----------
    points : MeasuredPoints
    view : CurveView
        Of the curve at their temperatures.
    """
    residual = np.log(points.resistance_ohm / view.resistance_ohm)
    if not np.all(np.isfinite(residual)):
        return -math.inf
    lower = np.linalg.cholesky(view.covariance_of_one_part(points))
    white = np.linalg.solve(lower, residual[:, np.newaxis] - view.part_shapes @ view.spread.parts.T)
    exponents = -0.5 * np.sum(white * white, axis=0)
    log_scale = float(np.sum(np.log(np.diag(lower)))) + 0.5 * points.count * math.log(2.0 * math.pi)
    return float(log_sum(exponents)) - math.log(exponents.size) - log_scale


def branch_evidence(points: MeasuredPoints, view: CurveView, branch: Branch) -> SizedEvidence | None:
    """Evidence of one branch; None where no size of it could be seen in these points.

    Parameters
    ----------
    points : MeasuredPoints
    view : CurveView
        Of the curve at their temperatures.
    branch : Branch
    """
    residual = np.log(points.resistance_ohm / view.resistance_ohm)
    if not np.all(np.isfinite(residual)):
        return None
    lowest = _visible_from(points, view, branch)
    if lowest is None:
        return None
    highest = math.log(branch.largest)

    def log_likelihood(log_size: Vector) -> Vector:
        sizes = branch.sign * np.exp(log_size)
        shift, share = branch.effect(view, sizes)
        covariance = view.covariance_of_one_beta(points, share)
        if branch.uneven is not None:
            uneven = branch.uneven(view, sizes, shift)
            covariance = covariance + np.eye(points.count) * uneven[:, np.newaxis, :] ** 2
        return log_over_parts(view, residual - shift, share, covariance)

    grid, values = _refined(log_likelihood, lowest, highest)
    prior = _density(branch, grid)
    top = float(np.max(values))
    weights = np.exp(values - top) * prior * _trapezoid_widths(grid)
    total = float(np.sum(weights))
    if not total > 0.0:
        return None
    sizes = branch.sign * np.exp(grid)
    mean = float(np.sum(weights * sizes)) / total
    variance = float(np.sum(weights * (sizes - mean) ** 2)) / total
    return SizedEvidence(
        branch=branch,
        log_integral=top + math.log(total),
        prior_mass=_prior_mass(branch, lowest, highest),
        size=mean,
        size_u=math.sqrt(variance),
    )


def log_over_parts(view: CurveView, residual: Matrix, share: Matrix, covariance: Matrix) -> Vector:
    """Logarithm of the normal density of ``residual``, averaged over all good parts, for each size.

    Over R25 the integral of the density is one of the error function; over beta it is a sum.

    Parameters
    ----------
    residual, share : Matrix, shape (sizes, n)
    covariance : Matrix, shape (sizes, n, n)
        Without the scatter of parts.
    """
    spread = view.spread
    lower = np.linalg.cholesky(covariance)
    shapes = share[..., np.newaxis] * view.part_shapes
    white = np.linalg.solve(lower, np.concatenate([residual[..., np.newaxis], shapes], axis=-1))
    rest = white[..., :1] - white[..., 2:] * spread.beta_column
    along = white[..., 1]
    squared = np.sum(along * along, axis=-1)[:, np.newaxis]
    best = np.sum(along[..., np.newaxis] * rest, axis=-2) / squared
    distance = np.sum(rest * rest, axis=-2) - squared * best**2
    r25_u = 1.0 / np.sqrt(squared)
    inside = _log_between((spread.r25_low - best) / r25_u, (spread.r25_high - best) / r25_u)
    terms = -0.5 * distance + inside + np.log(r25_u)
    area = float(np.sum(spread.r25_high - spread.r25_low))
    log_determinant = np.sum(np.log(np.diagonal(lower, axis1=-2, axis2=-1)), axis=-1)
    one_less = 0.5 * (residual.shape[-1] - 1) * math.log(2.0 * math.pi)
    density: Vector = log_sum(terms) - math.log(area) - log_determinant - one_less
    return density


def _log_between(low: Matrix, high: Matrix) -> Matrix:
    """Logarithm of the standard normal probability between two bounds, exact far out on either side."""
    # On the side where both are negative nothing is lost by cancellation.
    flipped = low + high > 0.0
    near, far = np.where(flipped, -low, high), np.where(flipped, -high, low)
    log_near = log_ndtr(near)
    between: Matrix = log_near + np.log1p(-np.exp(log_ndtr(far) - log_near))
    return between


def _visible_from(points: MeasuredPoints, view: CurveView, branch: Branch) -> float | None:
    """Logarithm of the smallest size that moves the points by `VISIBLE_FROM` standard deviations."""
    grid = np.linspace(math.log(branch.smallest), math.log(branch.largest), _COARSE)
    shift, _ = branch.effect(view, branch.sign * np.exp(grid))
    white = np.linalg.solve(np.linalg.cholesky(view.covariance(points)), shift.T)
    distance = np.sqrt(np.sum(white * white, axis=0))
    visible = np.flatnonzero(distance >= VISIBLE_FROM)
    if visible.size == 0 or visible[0] == grid.size - 1:
        return None
    first = int(visible[0])
    if first == 0:
        return float(grid[0])
    # The distance is close to a power of the size: its logarithm is interpolated.
    before, after = np.log(distance[first - 1 : first + 1])
    part = (math.log(VISIBLE_FROM) - before) / (after - before)
    return float(grid[first - 1] + part * (grid[first] - grid[first - 1]))


def _refined(
    log_likelihood: Callable[[Vector], Vector], lowest: float, highest: float
) -> tuple[Vector, Vector]:
    """Grid that is fine enough about the peak, with the values on it."""
    grid = np.linspace(lowest, highest, _COARSE)
    values = log_likelihood(grid)
    for _ in range(_ZOOMS_AT_MOST):
        best = int(np.argmax(values))
        left, right = max(best - 1, 0), min(best + 1, grid.size - 1)
        if values[best] - min(values[left], values[right]) < _SMOOTH_ENOUGH:
            break
        between = np.linspace(grid[left], grid[right], _FINE)[1:-1]
        between = between[between != grid[best]]
        order = np.argsort(np.concatenate([grid, between]), kind="stable")
        values = np.concatenate([values, log_likelihood(between)])[order]
        grid = np.concatenate([grid, between])[order]
    return grid, values


def _trapezoid_widths(grid: Vector) -> Vector:
    steps = np.diff(grid)
    widths = np.zeros(grid.size)
    widths[:-1] += 0.5 * steps
    widths[1:] += 0.5 * steps
    return widths


def _density(branch: Branch, log_size: Vector) -> Vector:
    return np.ones_like(log_size) if branch.density is None else branch.density(np.exp(log_size))


def _prior_mass(branch: Branch, lowest: float, highest: float) -> float:
    """What the prior density comes to: over the sizes that could be seen, or, where it has a scale, over all.

    In the latter case a size too small to be seen is left to the good senders.
    """
    if branch.density is not None:
        lowest = math.log(branch.smallest)
    grid = np.linspace(lowest, highest, 200)
    return float(np.sum(_density(branch, grid) * _trapezoid_widths(grid)))
