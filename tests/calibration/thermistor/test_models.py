"""Laws every model of a thermistor keeps."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import CurveError, CurveRangeError
from calibration.thermistor.beta import BetaCurve
from calibration.thermistor.inverse_cubic import InverseCubic
from calibration.thermistor.steinhart_hart import SteinhartHart, SteinhartHartSquare
from calibration.thermistor.table import TableCurve

# 44006 and the 3977 K part as in published/ntc_10k.toml; 2.5 kΩ rows as in published/ntc_2k5.toml.
STEINHART_HART = SteinhartHart(a=1.032e-3, b=2.387e-4, c=1.580e-7)
SQUARE = SteinhartHartSquare(
    a=3.354016e-3, b=2.569850e-4, c=2.620131e-6, d=6.383091e-8, reference_ohm=10_000.0
)
BETA = BetaCurve(r25_ohm=2000.0, beta_k=3500.0)
TABLE = TableCurve(
    temperatures_c=(-40.0, -20.0, 0.0, 20.0, 40.0, 60.0, 80.0, 100.0, 130.0),
    resistances_ohm=(45313.0, 15462.0, 5896.0, 2500.0, 1175.0, 596.0, 323.0, 187.0, 89.0),
)
MODELS = pytest.mark.parametrize(
    "curve", [STEINHART_HART, SQUARE, BETA, TABLE], ids=["steinhart-hart", "square", "beta", "table"]
)
temperatures_c = st.floats(-40.0, 130.0)


@MODELS
@given(temperature_c=temperatures_c)
def test_a_temperature_comes_back_from_its_resistance(curve, temperature_c):
    assert curve.temperature_c(curve.resistance_ohm(temperature_c)) == pytest.approx(temperature_c, abs=1e-7)


@MODELS
@given(first_c=temperatures_c, second_c=temperatures_c)
def test_the_hotter_thermistor_has_less_resistance(curve, first_c, second_c):
    colder_c, hotter_c = sorted((first_c, second_c))
    if hotter_c - colder_c > 1e-6:
        assert curve.resistance_ohm(hotter_c) < curve.resistance_ohm(colder_c)


@MODELS
@given(temperature_c=st.floats(-39.0, 129.0))
def test_the_sensitivity_is_the_slope_of_the_curve(curve, temperature_c):
    resistance_ohm = curve.resistance_ohm(temperature_c)
    step_ohm = 1e-4 * resistance_ohm
    rise_k = curve.temperature_c(resistance_ohm + step_ohm) - curve.temperature_c(resistance_ohm - step_ohm)
    assert curve.sensitivity_k_per_ohm(resistance_ohm) == pytest.approx(rise_k / (2 * step_ohm), rel=2e-3)
    assert curve.sensitivity_k_per_ohm(resistance_ohm) < 0.0


@given(
    roots=st.lists(st.floats(-3.0, 3.0), min_size=3, max_size=3),
    leading=st.floats(1e-8, 1e-5),
)
def test_every_root_of_a_cubic_on_a_rising_branch_is_found(roots, leading):
    low, middle, high = sorted(roots)
    if min(middle - low, high - middle) < 0.05:
        return
    cubic = InverseCubic(
        c0=-leading * low * middle * high,
        c1=leading * (low * middle + low * high + middle * high),
        c2=-leading * (low + middle + high),
        c3=leading,
    )
    assert cubic.log_ohm(0.0, near=low) == pytest.approx(low, abs=1e-6)
    assert cubic.log_ohm(0.0, near=high) == pytest.approx(high, abs=1e-6)


def test_a_fitted_curve_with_a_negative_cube_still_finds_its_resistance():
    curve = SteinhartHart(a=8.0e-4, b=2.9e-4, c=-5.0e-8)
    for temperature_c in (-20.0, 25.0, 100.0):
        found = curve.temperature_c(curve.resistance_ohm(temperature_c))
        assert found == pytest.approx(temperature_c, abs=1e-7)


def test_coefficients_that_reach_no_such_temperature_say_so():
    with pytest.raises(CurveRangeError, match="no resistance at"):
        SteinhartHart(a=1e-3, b=-2e-4, c=-1e-7).resistance_ohm(25.0)


def test_a_negative_beta_is_no_ntc_thermistor():
    with pytest.raises(CurveError, match="not an NTC"):
        BetaCurve(r25_ohm=1000.0, beta_k=-100.0)


def test_a_table_gives_its_own_rows_back_exactly():
    for temperature_c, resistance_ohm in zip(TABLE.temperatures_c, TABLE.resistances_ohm, strict=True):
        assert TABLE.resistance_ohm(temperature_c) == resistance_ohm
        assert TABLE.temperature_c(resistance_ohm) == temperature_c
        assert TABLE.interpolation_doubt_k(temperature_c) == 0.0


def test_a_table_is_not_read_beyond_its_rows():
    with pytest.raises(CurveRangeError, match="-40 to 130 °C") as refusal:
        TABLE.resistance_ohm(131.0)
    assert (refusal.value.asked, refusal.value.lowest, refusal.value.highest) == (131.0, -40.0, 130.0)
    with pytest.raises(CurveRangeError, match="89 to 45313 Ω"):
        TABLE.temperature_c(80.0)


def test_beyond_the_table_the_shown_temperature_goes_on_with_the_last_beta():
    # By hand: beta of the rows 100 and 130 °C is ln(187/89)/(1/373.15 - 1/403.15).
    beta_k = math.log(187 / 89) / (1 / 373.15 - 1 / 403.15)
    by_hand_c = 1 / (1 / 403.15 + math.log(80 / 89) / beta_k) - 273.15
    assert TABLE.extended_temperature_c(80.0) == pytest.approx(by_hand_c, abs=1e-9)
    assert TABLE.extended_temperature_c(89.0) == 130.0
    assert TABLE.extended_temperature_c(1e-9) == math.inf


def test_two_rows_are_a_beta_curve():
    two = TableCurve(temperatures_c=(20.0, 100.0), resistances_ohm=(3550.0, 180.0))
    beta_k = math.log(3550 / 180) / (1 / 293.15 - 1 / 373.15)
    by_hand_ohm = 180.0 * math.exp(beta_k * (1 / 333.15 - 1 / 373.15))
    assert two.resistance_ohm(60.0) == pytest.approx(by_hand_ohm, rel=1e-12)


def test_a_table_that_rises_is_refused_with_the_row():
    with pytest.raises(CurveError, match="1300 Ω at 40 °C"):
        TableCurve(temperatures_c=(20.0, 30.0, 40.0), resistances_ohm=(2500.0, 1200.0, 1300.0))


@given(temperature_c=st.floats(-40.0, 130.0))
def test_doubt_between_rows_twenty_kelvin_apart_stays_within_a_quarter_kelvin(temperature_c):
    # Compared with the full published table, of which every second row stands here.
    assert 0.0 <= TABLE.interpolation_doubt_k(temperature_c) < 0.25
