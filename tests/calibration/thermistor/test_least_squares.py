import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import FitError
from calibration.thermistor.least_squares import LeastSquares, least_squares

PUBLISHED = Path(__file__).parents[1] / "published"
MGH10 = tomllib.loads((PUBLISHED / "nist_mgh10.toml").read_text("utf-8"))
H3 = tomllib.loads((PUBLISHED / "jcgm100_h3.toml").read_text("utf-8"))


def mgh10_fit(start):
    x, y = np.array(MGH10["x"], dtype=float), np.array(MGH10["y"], dtype=float)

    def residuals(b):
        return b[0] * np.exp(b[1] / (x + b[2])) - y

    def jacobian(b):
        grown = np.exp(b[1] / (x + b[2]))
        return np.stack([grown, b[0] * grown / (x + b[2]), -b[0] * grown * b[1] / (x + b[2]) ** 2], axis=1)

    return least_squares(residuals=residuals, jacobian=jacobian, start=start)


def same_figures(found, certified, figures):
    return f"{found:.{figures - 1}e}" == f"{certified:.{figures - 1}e}"


@pytest.mark.parametrize("start", MGH10["starts"], ids=["far start", "near start"])
def test_nist_thermistor_data_give_the_certified_parameters(start):
    fit = mgh10_fit(start)
    for found, certified in zip(fit.parameters, MGH10["parameters"], strict=True):
        assert same_figures(found, certified, 6)


@pytest.mark.parametrize("start", MGH10["starts"], ids=["far start", "near start"])
def test_nist_thermistor_data_give_the_certified_standard_deviations(start):
    spread = np.sqrt(np.diag(mgh10_fit(start).scatter_covariance))
    for found, certified in zip(spread, MGH10["standard_deviations"], strict=True):
        assert same_figures(found, certified, 4)


@pytest.mark.parametrize("start", MGH10["starts"], ids=["far start", "near start"])
def test_nist_thermistor_data_leave_the_certified_residuals(start):
    fit = mgh10_fit(start)
    assert fit.degrees_of_freedom == MGH10["degrees_of_freedom"]
    assert fit.sum_of_squares == pytest.approx(MGH10["residual_sum_of_squares"], rel=1e-8)
    assert fit.residual_std == pytest.approx(MGH10["residual_standard_deviation"], rel=1e-8)


def h3_line() -> LeastSquares:
    above_c = np.array(H3["reading_c"]) - H3["reference_c"]
    design = np.stack([np.ones_like(above_c), above_c], axis=1)
    return least_squares(
        residuals=lambda line: design @ line - np.array(H3["correction_c"]),
        jacobian=lambda line: design,
        start=[0.0, 0.0],
    )


def h3_quantities():
    line = h3_line()
    covariance = line.scatter_covariance
    at_30 = np.array([1.0, 30.0 - H3["reference_c"]])
    spread = np.sqrt(np.diag(covariance))
    return {
        "intercept": line.parameters[0],
        "slope": line.parameters[1],
        "u of intercept": spread[0],
        "u of slope": spread[1],
        "correlation": covariance[0, 1] / (spread[0] * spread[1]),
        "residual sum of squares": line.sum_of_squares,
        "residual standard deviation": line.residual_std,
        "correction at 30 °C": at_30 @ line.parameters,
        "u of correction at 30 °C": math.sqrt(at_30 @ covariance @ at_30),
    }


@pytest.mark.parametrize("check", H3["check"], ids=lambda check: check["quantity"])
def test_the_line_of_the_gum_thermometer_example_is_reproduced(check):
    assert h3_quantities()[check["quantity"]] == pytest.approx(check["value"], abs=check["tolerance"])
    assert h3_line().degrees_of_freedom == H3["degrees_of_freedom"]


def test_as_many_points_as_parameters_leave_no_scatter_to_judge_by():
    fit = least_squares(
        residuals=lambda p: np.array([p[0] - 1.0, p[1] - 2.0]), jacobian=lambda p: np.eye(2), start=[0.0, 0.0]
    )
    assert fit.residual_std is None
    assert fit.scatter_covariance is None


def test_fewer_points_than_parameters_are_refused():
    with pytest.raises(FitError, match="measure more points"):
        least_squares(
            residuals=lambda p: np.array([p[0] + p[1]]), jacobian=lambda p: np.ones((1, 2)), start=[0.0, 0.0]
        )


def test_points_that_do_not_tell_two_parameters_apart_are_refused():
    design = np.ones((5, 2))
    with pytest.raises(FitError, match="do not determine"):
        least_squares(
            residuals=lambda p: design @ p - np.arange(5.0), jacobian=lambda p: design, start=[0.0, 0.0]
        )
