"""The curve that fits measured points best, in kelvin, and how far it may be trusted."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import FitError
from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor import ThermistorCurve
from calibration.thermistor.fit_point import FitPoint
from calibration.thermistor.inverse_cubic import InverseCubic
from calibration.thermistor.least_squares import LeastSquares, least_squares
from calibration.thermistor.model import Model, curve_of, reported_coefficients

__all__ = ["CurveFit", "FitPoint", "Model", "akaike_corrected", "fit_curve"]

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

_REWEIGHTINGS_AT_MOST = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveFit:
    """A fitted curve with what the points say about it.

    Attributes
    ----------
    model : Model
    coefficients : dict[str, float]
        By name, in the order of the covariance; natural logarithm of ohms.
    std_uncertainties : dict[str, float] or None
        None where neither uncertainties nor scatter tell them.
    covariance : tuple[tuple[float, ...], ...] or None
        Of the coefficients, rows in their order.
    residuals_k : tuple[float, ...]
        Temperature by the curve minus measured temperature, point by point. [K]
    rms_k : float
        Root of the mean square residual, no degrees of freedom taken off. [K]
    max_residual_k : float
        Largest magnitude of a residual. [K]
    reduced_chi2 : float or None
        None without uncertainties or without a degree of freedom.
    degrees_of_freedom : int
        Points minus coefficients.
    weighted : bool
        Whether the points' uncertainties weighed; otherwise every point weighs the same in kelvin.
    unknown_u : str
        ``temperature`` or ``resistance`` where only the other's uncertainty was given; else empty.
    valid_from_c, valid_to_c : float
        Measured range: the curve says nothing outside it. [°C]
    """

    model: Model
    coefficients: dict[str, float]
    std_uncertainties: dict[str, float] | None
    covariance: tuple[tuple[float, ...], ...] | None
    residuals_k: tuple[float, ...]
    rms_k: float
    max_residual_k: float
    reduced_chi2: float | None
    degrees_of_freedom: int
    weighted: bool
    unknown_u: str
    valid_from_c: float
    valid_to_c: float

    @property
    def curve(self) -> ThermistorCurve:
        """The fitted curve itself."""
        return curve_of(self.model, self.coefficients)

    @property
    def chi2_words(self) -> str:
        """Chi-squared, or why there is none, as it is said to a person."""
        if self.degrees_of_freedom == 0:
            count = len(self.residuals_k)
            return (
                f"{count} points for {count} coefficients leave no chi-squared and no scatter: the curve "
                "passes through every point, right or wrong. One more point would check it."
            )
        if self.reduced_chi2 is None:
            return (
                "No uncertainties were given, so every point weighs the same in kelvin and there is no "
                "chi-squared; the coefficients' uncertainties come from the scatter."
            )
        alone = (
            f" The {self.unknown_u} was given no uncertainty and counts as exact." if self.unknown_u else ""
        )
        return (
            f"Reduced chi-squared {self.reduced_chi2:.3g} with {self.degrees_of_freedom} degrees of freedom."
            f"{alone}"
        )


def fit_curve(points: Sequence[FitPoint], model: Model) -> CurveFit:
    """Fit a model to measured points by least squares of the residual in kelvin.

    Where every point knows an uncertainty, each is weighed by its effective variance,
    ``u_T² + (dT/dR)² u_R²`` [1]_; otherwise all weigh the same.

    Parameters
    ----------
    points : sequence of FitPoint
        At as many different temperatures as the model has coefficients, at least.
    model : Model

    Raises
    ------
    FitError
        If there are too few points, if only some know their uncertainty, or if the best curve is
        not that of an NTC thermistor over the measured range.

    References
    ----------
    .. [1] J. Orear, American Journal of Physics 50 (1982) 912-916.
    """
    _refuse_too_few(points, model)
    weighted = _all_or_none_weighted(points)
    log_ohm = np.log([point.resistance_ohm for point in points])
    basis = np.stack([log_ohm**power for power in model.powers], axis=1)
    orthogonal, triangle = np.linalg.qr(basis)
    found = _fit_in_kelvin(points, orthogonal, _slope_basis(model, log_ohm, triangle), weighted)

    to_linear = np.linalg.inv(triangle)
    linear = to_linear @ found.parameters
    _refuse_a_curve_that_turns(model, linear, log_ohm)
    unit_covariance = found.unit_covariance if weighted else found.scatter_covariance
    spread = np.zeros((linear.size, linear.size)) if unit_covariance is None else unit_covariance
    values, covariance = reported_coefficients(model, linear, to_linear @ spread @ to_linear.T)
    known = unit_covariance is not None
    names = model.coefficient_names
    residuals_k = 1.0 / (orthogonal @ found.parameters) - _kelvin(points)
    temperatures_c = [point.temperature_c for point in points]
    chi2_known = weighted and found.degrees_of_freedom > 0
    return CurveFit(
        model=model,
        coefficients=dict(zip(names, values.tolist(), strict=True)),
        std_uncertainties=(
            dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True)) if known else None
        ),
        covariance=tuple(tuple(row) for row in covariance.tolist()) if known else None,
        residuals_k=tuple(residuals_k.tolist()),
        rms_k=float(np.sqrt(np.mean(residuals_k**2))),
        max_residual_k=float(np.max(np.abs(residuals_k))),
        reduced_chi2=found.sum_of_squares / found.degrees_of_freedom if chi2_known else None,
        degrees_of_freedom=found.degrees_of_freedom,
        weighted=weighted,
        unknown_u=_unknown_u(points) if weighted else "",
        valid_from_c=float(min(temperatures_c)),
        valid_to_c=float(max(temperatures_c)),
    )


def _fit_in_kelvin(
    points: Sequence[FitPoint], orthogonal: Matrix, slope_basis: Matrix, weighted: bool
) -> LeastSquares:
    """Fit in orthogonal parameters, reweighing until the effective variances stand still."""
    measured_k = _kelvin(points)
    parameters: Vector = np.linalg.lstsq(orthogonal * measured_k[:, np.newaxis] ** 2, measured_k, rcond=None)[
        0
    ].astype(float)
    for _ in range(_REWEIGHTINGS_AT_MOST):
        u_k = _effective_u_k(points, orthogonal, slope_basis, parameters, weighted)
        found = least_squares(
            residuals=_residuals_over(u_k, orthogonal, measured_k),
            jacobian=_derivatives_over(u_k, orthogonal),
            start=parameters.tolist(),
        )
        moved = np.max(np.abs(found.parameters - parameters)) / np.max(np.abs(parameters))
        parameters = found.parameters
        if not weighted or moved < 1e-12:
            break
    return found


def _residuals_over(u_k: Vector, orthogonal: Matrix, measured_k: Vector) -> Callable[[Vector], Vector]:
    def residuals(parameters: Vector) -> Vector:
        left: Vector = (1.0 / (orthogonal @ parameters) - measured_k) / u_k
        return left

    return residuals


def _derivatives_over(u_k: Vector, orthogonal: Matrix) -> Callable[[Vector], Matrix]:
    def derivatives(parameters: Vector) -> Matrix:
        temperature_k = 1.0 / (orthogonal @ parameters)
        change: Matrix = -orthogonal * (temperature_k**2 / u_k)[:, np.newaxis]
        return change

    return derivatives


def _effective_u_k(
    points: Sequence[FitPoint],
    orthogonal: Matrix,
    slope_basis: Matrix,
    parameters: Vector,
    weighted: bool,
) -> Vector:
    if not weighted:
        return np.ones(len(points))
    temperature_k = 1.0 / (orthogonal @ parameters)
    relative_u = np.array([(point.u_resistance_ohm or 0.0) / point.resistance_ohm for point in points])
    u_temperature_k = np.array([point.u_temperature_k or 0.0 for point in points])
    by_resistance_k = temperature_k**2 * (slope_basis @ parameters) * relative_u
    effective: Vector = np.hypot(u_temperature_k, by_resistance_k)
    return effective


def _slope_basis(model: Model, log_ohm: Vector, triangle: Matrix) -> Matrix:
    """Derivatives of 1/T with ``L`` for orthogonal parameters, shape (n_points, n_parameters)."""
    powers = [power * log_ohm ** max(power - 1, 0) for power in model.powers]
    slopes: Matrix = np.stack(powers, axis=1) @ np.linalg.inv(triangle)
    return slopes


def _kelvin(points: Sequence[FitPoint]) -> Vector:
    return np.array([point.temperature_c for point in points]) + ZERO_CELSIUS_K


def _all_or_none_weighted(points: Sequence[FitPoint]) -> bool:
    knowing = [point.knows_its_uncertainty for point in points]
    if any(knowing) and not all(knowing):
        missing = points[knowing.index(False)]
        raise FitError(
            f"The point at {missing.temperature_c:g} °C has no uncertainty while others have one: give "
            "every point one, or none."
        )
    for kind in ("temperature", "resistance"):
        _refuse_half_known(points, kind)
    return all(knowing)


def _unknown_u(points: Sequence[FitPoint]) -> str:
    if points[0].u_temperature_k is None:
        return "temperature"
    return "resistance" if points[0].u_resistance_ohm is None else ""


def _refuse_half_known(points: Sequence[FitPoint], kind: str) -> None:
    """An uncertainty that only some points give would count as none at the others."""
    by_kind = {
        "temperature": [point.u_temperature_k for point in points],
        "resistance": [point.u_resistance_ohm for point in points],
    }
    known = [u is not None for u in by_kind[kind]]
    if any(known) and not all(known):
        missing = points[known.index(False)]
        raise FitError(
            f"The point at {missing.temperature_c:g} °C has no uncertainty of its {kind} while others have "
            "one: give every point one, or none."
        )


def _refuse_too_few(points: Sequence[FitPoint], model: Model) -> None:
    needed = len(model.powers)
    different = min(
        len({point.temperature_c for point in points}), len({point.resistance_ohm for point in points})
    )
    if different < needed:
        raise FitError(
            f"{model.words} has {needed} coefficients and needs points at {needed} different temperatures; "
            f"there are {different}. Measure at more temperatures, or fit a model with fewer coefficients."
        )


def _refuse_a_curve_that_turns(model: Model, linear: Vector, log_ohm: Vector) -> None:
    powers = dict(zip(model.powers, linear.tolist(), strict=True))
    cubic = InverseCubic(c0=powers[0], c1=powers[1], c2=powers.get(2, 0.0), c3=powers.get(3, 0.0))
    if not cubic.rises_between(float(np.min(log_ohm)), float(np.max(log_ohm))):
        raise FitError(
            "The best curve through these points does not fall steadily with temperature, as an NTC "
            "thermistor's does. Look for a mistyped or swapped point."
        )


def akaike_corrected(fit: CurveFit, points: Sequence[FitPoint]) -> float | None:
    """Corrected Akaike information of a fit: the smaller, the better the evidence [1]_.

    None where there are too few points for it: two more than estimated numbers are needed.

    Parameters
    ----------
    fit : CurveFit
    points : sequence of FitPoint
        Those it was fitted to.

    References
    ----------
    .. [1] C. M. Hurvich and C.-L. Tsai, Biometrika 76 (1989) 297-307.
    """
    count = len(points)
    # Without given uncertainties their common size is one more number taken from the points.
    estimated = len(fit.coefficients) + (0 if fit.weighted else 1)
    if count - estimated - 1 < 1:
        return None
    penalty = 2.0 * estimated + 2.0 * estimated * (estimated + 1) / (count - estimated - 1)
    if fit.weighted:
        assert fit.reduced_chi2 is not None
        return fit.reduced_chi2 * fit.degrees_of_freedom + penalty
    # Points that lie on a curve to the last digit would make the logarithm endless: a nanokelvin is none.
    return 2.0 * count * math.log(max(fit.rms_k, 1e-9)) + penalty
