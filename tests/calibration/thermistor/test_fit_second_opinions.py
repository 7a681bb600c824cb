"""Weighted fits beside orthogonal distance regression, and the evidence beside arithmetic done by hand."""

import math
import warnings

import numpy as np
import pytest

from calibration.curves import load_curve
from calibration.thermistor.choice import choose_model
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve

with warnings.catch_warnings():
    # scipy has announced that this module moves to a package of its own in 1.19.
    warnings.simplefilter("ignore", DeprecationWarning)
    from scipy import odr

CURVE = load_curve("ntc-2k5-20c")


def noisy_points(seed: int) -> list[FitPoint]:
    """Rows of the 2.5 kΩ part, each off in temperature and in resistance, with uneven uncertainties."""
    chance = np.random.default_rng(seed)
    return [
        FitPoint(
            temperature_c=row.temperature_c + chance.normal(0.0, 0.2 + 0.003 * row.temperature_c),
            resistance_ohm=row.resistance_ohm * (1.0 + chance.normal(0.0, 0.01)),
            u_temperature_k=0.2 + 0.003 * row.temperature_c,
            u_resistance_ohm=0.01 * row.resistance_ohm,
        )
        for row in CURVE.rows
        if 0.0 <= row.temperature_c <= 110.0
    ]


def by_orthogonal_distance(points: list[FitPoint], model: Model) -> tuple[np.ndarray, np.ndarray, float]:
    """Coefficients of the powers of ln R, their covariance, and chi-squared."""
    log_ohm = np.log([point.resistance_ohm for point in points])
    scale = np.array([1e-3, 1e-4, 1e-7]) if model is Model.STEINHART_HART else np.array([1e-3, 1e-4])

    def kelvin(parameters: np.ndarray, x: np.ndarray) -> np.ndarray:
        return 1.0 / sum(b * s * x**p for b, s, p in zip(parameters, scale, model.powers, strict=True))

    found = odr.ODR(
        odr.RealData(
            log_ohm,
            np.array([point.temperature_c for point in points]) + 273.15,
            sx=[point.u_resistance_ohm / point.resistance_ohm for point in points],
            sy=[point.u_temperature_k for point in points],
        ),
        odr.Model(kelvin),
        beta0=[1.2, 2.5, 1.5][: scale.size],
        maxit=500,
        sstol=1e-14,
        partol=1e-14,
    ).run()
    return found.beta * scale, found.cov_beta * np.outer(scale, scale), float(found.sum_square)


def curve_u_k(fit: CurveFit, log_ohm: float, kelvin: float) -> float:
    change = -(kelvin**2) * np.array([1.0, log_ohm, log_ohm**3])
    return math.sqrt(change @ np.array(fit.covariance) @ change)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_effective_variance_gives_what_orthogonal_distance_regression_gives(seed: int) -> None:
    """scipy's ODRPACK: curves within a twentieth of their uncertainty, uncertainties to 1 %.

    They are not the same method: effective variance takes the slope where it was measured.
    """
    points = noisy_points(seed)
    fit = fit_curve(points, Model.STEINHART_HART)
    linear, covariance, chi2 = by_orthogonal_distance(points, Model.STEINHART_HART)
    for log_ohm in np.log([144.0, 243.0, 596.0, 1707.0, 5896.0]):
        terms = np.array([1.0, log_ohm, log_ohm**3])
        kelvin = 1.0 / (terms @ linear)
        other_u_k = kelvin**2 * math.sqrt(terms @ covariance @ terms)
        u_k = curve_u_k(fit, log_ohm, kelvin)
        assert fit.curve.temperature_c(math.exp(log_ohm)) + 273.15 == pytest.approx(kelvin, abs=0.05 * u_k)
        assert u_k == pytest.approx(other_u_k, rel=0.01)
    assert fit.reduced_chi2 * fit.degrees_of_freedom == pytest.approx(chi2, rel=0.005)


def test_the_beta_equation_agrees_with_it_too() -> None:
    points = noisy_points(5)
    fit = fit_curve(points, Model.BETA)
    (intercept, slope), covariance, _ = by_orthogonal_distance(points, Model.BETA)
    beta_k = 1.0 / slope
    assert fit.coefficients["beta_k"] == pytest.approx(beta_k, abs=0.05 * fit.std_uncertainties["beta_k"])
    assert fit.std_uncertainties["beta_k"] == pytest.approx(math.sqrt(covariance[1, 1]) * beta_k**2, rel=0.01)
    r25_ohm = math.exp((1.0 / 298.15 - intercept) * beta_k)
    assert fit.coefficients["r25_ohm"] == pytest.approx(r25_ohm, abs=0.05 * fit.std_uncertainties["r25_ohm"])


def pairs_about_a_beta_curve(delta_k: float, u_k: float | None) -> list[FitPoint]:
    """Three resistances of R25 = 2 kΩ, beta = 3500 K, each read at delta above and delta below the truth.

    Beta and Steinhart-Hart both pass through the three means, so that by hand the sum of squares is
    6 delta², whatever else the fits do.
    """
    return [
        FitPoint(
            temperature_c=t + sign * delta_k,
            resistance_ohm=2000.0 * math.exp(3500.0 * (1.0 / (t + 273.15) - 1.0 / 298.15)),
            u_temperature_k=u_k,
        )
        for t in (20.0, 55.0, 90.0)
        for sign in (-1.0, 1.0)
    ]


def test_the_evidence_of_weighted_points_is_that_worked_by_hand() -> None:
    """n = 6: chi² = 6 (0.2/0.1)² = 24. Beta: 24 + 4 + 12/3 = 32; three coefficients: 24 + 6 + 24/2 = 42."""
    choice = choose_model(pairs_about_a_beta_curve(0.2, 0.1))
    assert choice.evidence[Model.BETA] == pytest.approx(32.0, abs=0.01)
    assert choice.evidence[Model.STEINHART_HART] == pytest.approx(42.0, abs=0.01)
    assert choice.fit.model is Model.BETA
    assert "ahead of Steinhart-Hart by 10.0" in choice.words


def test_the_evidence_of_unweighted_points_is_that_worked_by_hand() -> None:
    """The size of the noise is one more number: 6 ln(0.04) + 6 + 24/2, and 6 ln(0.04) + 8 + 40/1."""
    choice = choose_model(pairs_about_a_beta_curve(0.2, None))
    assert choice.evidence[Model.BETA] == pytest.approx(6.0 * math.log(0.04) + 18.0, abs=0.01)
    assert choice.evidence[Model.STEINHART_HART] == pytest.approx(6.0 * math.log(0.04) + 48.0, abs=0.01)
    assert choice.fit.model is Model.BETA
