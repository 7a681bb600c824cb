"""Printed coefficients against printed tables, and what the usual slips would do."""

import math
import tomllib
from pathlib import Path

import pytest

from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor.beta import BetaCurve
from calibration.thermistor.steinhart_hart import SteinhartHart, SteinhartHartSquare

PUBLISHED = Path(__file__).parents[1] / "published"
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))
EPCOS = tomllib.loads((PUBLISHED / "epcos_rt8016_rt8018.toml").read_text("utf-8"))
B3977 = NTC_10K["b3977"]
TRAPS = NTC_10K["traps"]


@pytest.mark.parametrize("part", NTC_10K["part"], ids=lambda part: part["name"])
def test_printed_coefficients_reproduce_the_printed_table(part):
    curve = SteinhartHart(**dict(zip("abc", part["coefficients"], strict=True)))
    for temperature_c, resistance_ohm in NTC_10K["tables"][part["table"]]:
        assert curve.temperature_c(resistance_ohm) == pytest.approx(temperature_c, abs=part["tolerance_k"])


@pytest.mark.parametrize("part", NTC_10K["part"], ids=lambda part: part["name"])
def test_the_table_is_found_from_temperature_by_the_closed_root_of_the_cubic(part):
    curve = SteinhartHart(**dict(zip("abc", part["coefficients"], strict=True)))
    for temperature_c, resistance_ohm in NTC_10K["tables"][part["table"]]:
        allowed_ohm = part["tolerance_k"] / abs(curve.sensitivity_k_per_ohm(resistance_ohm))
        assert curve.resistance_ohm(temperature_c) == pytest.approx(resistance_ohm, abs=allowed_ohm)


@pytest.mark.parametrize("part", NTC_10K["part"], ids=lambda part: part["name"])
def test_zero_celsius_at_273_2_kelvin_would_miss_the_table(part):
    curve = SteinhartHart(**dict(zip("abc", part["coefficients"], strict=True)))
    slipped = [
        abs(curve.temperature_c(resistance_ohm) + ZERO_CELSIUS_K - 273.2 - temperature_c)
        for temperature_c, resistance_ohm in NTC_10K["tables"][part["table"]]
    ]
    assert max(slipped) > part["tolerance_k"]


def test_a_3_kilohm_part_reads_5_hundredths_apart_on_the_two_zeros():
    a, b, c = TRAPS["coefficients_3k"]
    curve = SteinhartHart(a=a, b=b, c=c)
    ours_c = curve.temperature_c(3000.0)
    assert ours_c == pytest.approx(TRAPS["r3000_with_273_15_c"], abs=TRAPS["r3000_tolerance_k"])
    assert ours_c + 273.15 - 273.2 == pytest.approx(
        TRAPS["r3000_with_273_2_c"], abs=TRAPS["r3000_tolerance_k"]
    )


def test_a_mistyped_last_coefficient_of_the_3_kilohm_part_is_seen_at_its_reference():
    a, b, _ = TRAPS["coefficients_3k"]
    mistyped = SteinhartHart(a=a, b=b, c=TRAPS["mistyped_c_3k"])
    off_k = abs(mistyped.temperature_c(3000.0) - TRAPS["r3000_with_273_15_c"])
    assert off_k > 10 * TRAPS["r3000_tolerance_k"]


def b3977_ohm(temperature_c: float) -> float:
    """Maker's other equation, ln(R/R25) = A + B/T + C/T² + D/T³."""
    a, b, c, d = B3977["ln_form"]
    kelvin = temperature_c + 273.15
    return B3977["r25_ohm"] * math.exp(a + b / kelvin + c / kelvin**2 + d / kelvin**3)


def b3977_curve(sign_of_d: float = 1.0) -> SteinhartHartSquare:
    a, b, c, d = B3977["inverse_form"]
    return SteinhartHartSquare(a=a, b=b, c=c, d=sign_of_d * d, reference_ohm=B3977["r25_ohm"])


@pytest.mark.parametrize("temperature_c", range(-40, 151, 10))
def test_both_equations_of_the_3977_part_agree_as_far_as_the_maker_says(temperature_c):
    shown_c = b3977_curve().temperature_c(b3977_ohm(temperature_c))
    assert shown_c == pytest.approx(temperature_c, abs=B3977["round_trip_k"])


def test_the_3977_table_is_reproduced():
    for temperature_c, resistance_ohm in B3977["computed"]:
        assert b3977_ohm(temperature_c) == pytest.approx(resistance_ohm, abs=0.005)
        shown_c = b3977_curve().temperature_c(resistance_ohm)
        assert shown_c == pytest.approx(temperature_c, abs=B3977["round_trip_k"])


def test_the_beta_of_the_3977_part_is_as_named():
    beta_k = math.log(b3977_ohm(25.0) / b3977_ohm(85.0)) / (1 / 298.15 - 1 / 358.15)
    assert beta_k == pytest.approx(B3977["b25_85_k"], abs=0.05)


@pytest.mark.parametrize(("temperature_c", "off_k"), TRAPS["sign_of_d"])
def test_the_wrong_sign_of_the_last_coefficient_reads_cold(temperature_c, off_k):
    shown_c = b3977_curve(sign_of_d=-1.0).temperature_c(b3977_ohm(temperature_c))
    assert shown_c - temperature_c == pytest.approx(off_k, abs=TRAPS["sign_tolerance_k"])


@pytest.mark.parametrize("part", ["8016", "8018"])
def test_the_beta_between_25_and_100_degrees_is_as_printed(part):
    ratios = dict(EPCOS[f"ratio_{part}"])
    beta_k = math.log(ratios[25] / ratios[100]) / (1 / 298.15 - 1 / 373.15)
    assert beta_k == pytest.approx(EPCOS[f"b25_100_{part}_k"], abs=EPCOS["b_tolerance_k"])
    curve = BetaCurve(r25_ohm=10_000.0, beta_k=EPCOS[f"b25_100_{part}_k"])
    assert curve.resistance_ohm(100.0) / 10_000.0 == pytest.approx(ratios[100], rel=0.0008)
