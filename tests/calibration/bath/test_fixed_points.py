import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.bath.atmosphere import AltitudeError, pressure_slope_kpa_per_m, standard_pressure_kpa
from calibration.bath.fixed_points import (
    FixedPointError,
    boiling_at_altitude,
    boiling_at_pressure,
    ice_point,
    refuse_sea_level_pressure,
)
from calibration.bath.saturation import boiling_c
from calibration.uncertainty.budget import Shape
from calibration.uncertainty.monte_carlo import second_opinion

WATER = tomllib.loads((Path(__file__).parents[1] / "published" / "water.toml").read_text("utf-8"))
AIR = WATER["atmosphere"]
PLACES = list(zip(AIR["altitude_m"], AIR["pressure_bar"], AIR["boiling_c"], strict=True))
altitudes_m = st.floats(-449.0, 4900.0)


@pytest.mark.parametrize(("altitude_m", "pressure_bar", "boils_c"), PLACES)
def test_the_air_weighs_what_the_standard_atmosphere_says(altitude_m, pressure_bar, boils_c):
    pressure_kpa = standard_pressure_kpa(altitude_m)
    assert pressure_kpa / 100.0 == pytest.approx(pressure_bar, abs=1.001 * AIR["half_last_digit_bar"])
    assert boiling_at_altitude(altitude_m).temperature_c == pytest.approx(
        boils_c,
        abs=AIR["boiling_tolerance_k"] + 0.02,  # their pressures are rounded to four digits
    )


@given(altitude_m=altitudes_m)
def test_the_slope_of_the_air_is_that_of_its_pressure(altitude_m):
    rise = standard_pressure_kpa(altitude_m + 0.5) - standard_pressure_kpa(altitude_m - 0.5)
    assert pressure_slope_kpa_per_m(altitude_m) == pytest.approx(rise, rel=2e-3)


@given(altitude_m=altitudes_m, step_m=st.floats(1.0, 90.0))
def test_higher_up_water_boils_colder(altitude_m, step_m):
    assert (
        boiling_at_altitude(altitude_m + step_m).temperature_c < boiling_at_altitude(altitude_m).temperature_c
    )


def line(point, name):
    return next(line for line in point.budget.lines if line.quantity == name)


def test_from_altitude_alone_the_weather_adds_a_quarter_kelvin():
    assert line(boiling_at_altitude(1500.0), "weather").contribution == 0.25
    # and so much that the lines of the barometer no longer matter
    assert boiling_at_altitude(1500.0).expanded_u_k > 2.5 * boiling_at_pressure(84.5).expanded_u_k


def test_five_centimetres_of_water_are_over_a_tenth_of_a_kelvin_and_none_in_the_steam():
    # 0.14 K in the design's own reckoning with cold water; boiling water is 4 % lighter
    deep = line(boiling_at_pressure(101.325), "depth of the probe")
    assert deep.standard_u * 3**0.5 == pytest.approx(0.135, abs=0.01)
    steam = line(boiling_at_pressure(101.325, probe_depth_m=0.0), "depth of the probe")
    assert steam.contribution == 0.0


def test_the_pressure_of_the_weather_report_is_over_a_kelvin_wrong_at_500_metres():
    # 1.65 K in the design's own reckoning
    wrong_k = boiling_c(101.325) - boiling_at_altitude(500.0).temperature_c
    assert wrong_k == pytest.approx(1.65, abs=0.02)
    assert wrong_k > boiling_at_altitude(500.0).expanded_u_k


@pytest.mark.parametrize("altitude_m", [600.0, 1500.0, 3000.0])
def test_a_pressure_reduced_to_sea_level_is_refused_where_the_altitude_gives_it_away(altitude_m):
    with pytest.raises(FixedPointError, match="reduced to sea level"):
        refuse_sea_level_pressure(101.3, altitude_m)


@given(altitude_m=altitudes_m, weather_kpa=st.floats(-4.0, 4.0))
def test_ordinary_weather_is_never_refused(altitude_m, weather_kpa):
    refuse_sea_level_pressure(standard_pressure_kpa(altitude_m) + weather_kpa, altitude_m)


def test_a_wrong_unit_beside_an_altitude_is_refused_without_guessing():
    with pytest.raises(FixedPointError, match="cannot be") as refused:
        refuse_sea_level_pressure(60.0, 200.0)
    assert "sea level" not in str(refused.value)


def test_ice_melts_at_zero():
    point = ice_point()
    assert point.temperature_c == WATER["ice"]["temperature_c"]
    assert point.pressure_kpa is None
    assert point.budget.shape is Shape.RECTANGLE
    assert point.expanded_u_k == pytest.approx(0.0477, abs=0.0002)  # 95.45 % of ±0.05 K


def test_a_careful_ice_bath_is_known_better():
    assert ice_point(half_width_k=0.01).expanded_u_k < ice_point().expanded_u_k


@pytest.mark.parametrize("half_width_k", [0.0, -0.1, 2.0, float("nan")])
def test_an_ice_bath_without_doubt_is_refused(half_width_k):
    with pytest.raises(FixedPointError, match="with care"):
        ice_point(half_width_k=half_width_k)


@pytest.mark.parametrize("pressure_kpa", [0.0, 49.9, 110.1, 1013.0, float("nan")])
def test_a_pressure_that_is_no_air_is_refused(pressure_kpa):
    with pytest.raises(FixedPointError, match="Check the number and its unit"):
        boiling_at_pressure(pressure_kpa)


@pytest.mark.parametrize("altitude_m", [-500.0, 5001.0, float("nan")])
def test_an_altitude_without_shops_is_refused(altitude_m):
    with pytest.raises(AltitudeError, match="where shops stand"):
        boiling_at_altitude(altitude_m)


def test_a_probe_a_metre_deep_is_refused():
    with pytest.raises(FixedPointError, match="100 cm"):
        boiling_at_pressure(95.0, probe_depth_m=1.0)


def test_simulation_agrees_with_the_boiling_point():
    opinion = second_opinion(boiling_at_pressure(95.0).budget, seed=20)
    assert opinion.simulated.stable
    assert opinion.agrees
