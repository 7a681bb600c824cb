"""A fitted curve in words and as plain data."""

from typing import Any

from calibration.thermistor.fit import CurveFit, Model

EQUATIONS = {
    Model.BETA: "R = R25 exp(beta (1/T - 1/T25))",
    Model.STEINHART_HART: "1/T = a + b L + c L³",
    Model.STEINHART_HART_SQUARE: "1/T = a + b L + c L² + d L³",
}


def equation_words(model: Model) -> str:
    """Equation with what its letters mean."""
    letters = "T in kelvin, 25 °C = 298.15 K" if model is Model.BETA else "T in kelvin, L = ln(R/Ω)"
    return f"{EQUATIONS[model]}; {letters}"


def fit_data(fit: CurveFit) -> dict[str, Any]:
    """Everything a fit says, for JSON; null where a thing cannot be known."""
    return {
        "model": fit.model.value,
        "coefficients": dict(fit.coefficients),
        "std_uncertainties": fit.std_uncertainties,
        "covariance": None if fit.covariance is None else [list(row) for row in fit.covariance],
        "rms_k": fit.rms_k,
        "max_residual_k": fit.max_residual_k,
        "reduced_chi2": fit.reduced_chi2,
        "degrees_of_freedom": fit.degrees_of_freedom,
        "residuals_k": list(fit.residuals_k),
        "valid_from_c": fit.valid_from_c,
        "valid_to_c": fit.valid_to_c,
        "weighted": fit.weighted,
        "words": fit.chi2_words,
    }


def coefficient_lines(fit: CurveFit) -> list[str]:
    """One line for each coefficient, with its standard uncertainty where there is one."""
    lines = []
    for name, value in fit.coefficients.items():
        u = None if fit.std_uncertainties is None else fit.std_uncertainties[name]
        spread = "" if u is None else f"  ± {u:.1e} (k = 1)"
        lines.append(f"{name:<8} {value: .9e}{spread}")
    return lines


def residual_words(fit: CurveFit) -> str:
    """How far the points lie from the curve, and where it holds."""
    return (
        f"Residuals {fit.rms_k:.3f} K rms, {fit.max_residual_k:.3f} K at most; valid from "
        f"{fit.valid_from_c:.6g} to {fit.valid_to_c:.6g} °C, as measured."
    )
