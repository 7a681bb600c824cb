"""What the computer would show with the sender that was measured."""

import math

import numpy as np
import pytest

from calibration.curves import load_curve
from calibration.errors import CurveRangeError
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve
from calibration.vehicle.computer_input import ComputerInput
from calibration.vehicle.shown import COOLANT_DISSIPATION_W_PER_K, shown_rows, temperature_u_k

CURVE = load_curve("ntc-2k5-20c")
TEMPERATURES_C = (20.0, 40.0, 60.0, 80.0, 100.0)


def measured(
    *,
    factor: float = 1.0,
    series_ohm: float = 0.0,
    u_k: float | None = 0.1,
    model: Model = Model.STEINHART_HART,
) -> CurveFit:
    """Curve through a sender that follows the reference but for a factor and a resistance in line."""
    return fit_curve(
        [
            FitPoint(
                temperature_c=t,
                resistance_ohm=CURVE.resistance_ohm(t) * factor + series_ohm,
                u_temperature_k=u_k,
            )
            for t in TEMPERATURES_C
        ],
        model,
    )


def test_a_true_sender_shows_the_truth_within_what_the_fit_leaves() -> None:
    sender = measured()
    for row in shown_rows(CURVE, sender, (25.0, 60.0, 95.0)):
        assert row.shown_minus_true_k == pytest.approx(0.0, abs=0.3)


def test_five_percent_too_many_ohms_show_cold_by_the_slope_of_the_curve() -> None:
    """By hand: ln(1.05) T²/beta, beta between the printed rows at 50 °C 834 Ω and 70 °C 436 Ω."""
    (true_row,) = shown_rows(CURVE, measured(), (60.0,))
    (row,) = shown_rows(CURVE, measured(factor=1.05), (60.0,))
    beta_k = math.log(834 / 436) / (1 / 323.15 - 1 / 343.15)
    assert row.shown_c - true_row.shown_c == pytest.approx(-math.log(1.05) * 333.15**2 / beta_k, rel=0.02)
    assert row.resistance_ohm / true_row.resistance_ohm == pytest.approx(1.05, rel=1e-3)


def test_a_resistance_in_line_matters_most_when_hot() -> None:
    plain, spoiled = (
        shown_rows(CURVE, one, (20.0, 100.0)) for one in (measured(), measured(series_ohm=20.0))
    )
    cold_k, hot_k = (bad.shown_c - good.shown_c for bad, good in zip(spoiled, plain, strict=True))
    assert hot_k < 10.0 * cold_k < 0.0


def test_three_points_of_known_uncertainty_carry_it_through_at_each_of_them() -> None:
    points = [
        FitPoint(temperature_c=t, resistance_ohm=CURVE.resistance_ohm(t), u_temperature_k=0.1)
        for t in (20.0, 60.0, 100.0)
    ]
    fit = fit_curve(points, Model.STEINHART_HART)
    for row in shown_rows(CURVE, fit, (20.0, 60.0, 100.0)):
        assert row.expanded_u_k == pytest.approx(0.2, rel=1e-3)


@pytest.mark.parametrize("model", list(Model))
def test_the_uncertainty_along_the_curve_is_how_repeated_fits_scatter(model: Model) -> None:
    chance = np.random.default_rng(9)
    fit, shown = measured(model=model), []
    for _ in range(250):
        points = [
            FitPoint(
                temperature_c=t + chance.normal(0.0, 0.1),
                resistance_ohm=CURVE.resistance_ohm(t),
                u_temperature_k=0.1,
            )
            for t in TEMPERATURES_C
        ]
        shown.append(fit_curve(points, model).curve.temperature_c(436.0))
    assert temperature_u_k(fit, 436.0) == pytest.approx(np.std(shown), rel=0.2)


def test_without_uncertainties_and_scatter_none_is_stated() -> None:
    points = [FitPoint(temperature_c=t, resistance_ohm=CURVE.resistance_ohm(t)) for t in (20.0, 60.0, 100.0)]
    (row,) = shown_rows(CURVE, fit_curve(points, Model.STEINHART_HART), (80.0,))
    assert row.expanded_u_k is None


def test_the_computer_s_own_current_warms_the_sender_by_hand() -> None:
    """5 V through 1 kΩ and 187 Ω: 4.21 mA, 3.32 mW; over 5 to 25 mW/K the middle is 0.40 K."""
    computer = ComputerInput(supply_v=5.0, pull_up_ohm=1000.0)
    sender = measured()
    (plain,) = shown_rows(CURVE, sender, (100.0,))
    (warmed,) = shown_rows(CURVE, sender, (100.0,), computer=computer)
    power_w = (5.0 / 1187.0) ** 2 * 187.0
    assert COOLANT_DISSIPATION_W_PER_K == (0.005, 0.025)
    assert warmed.self_heating_k == pytest.approx(power_w * (1 / 0.005 + 1 / 0.025) / 2, rel=0.01)
    assert warmed.shown_c - plain.shown_c == pytest.approx(warmed.self_heating_k, rel=0.05)
    assert warmed.expanded_u_k > plain.expanded_u_k


def test_a_temperature_that_was_not_measured_is_refused() -> None:
    with pytest.raises(CurveRangeError, match="20 to 100 °C"):
        shown_rows(CURVE, measured(), (110.0,))
