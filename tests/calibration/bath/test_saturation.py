import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.bath.saturation import SaturationError, boiling_c, boiling_slope_k_per_kpa, saturation_kpa

WATER = tomllib.loads((Path(__file__).parents[1] / "published" / "water.toml").read_text("utf-8"))
pressures_kpa = st.floats(1.0, 20_000.0)


@pytest.mark.parametrize("row", WATER["saturation"], ids=lambda row: f"{row['pressure_kpa']:g} kPa")
def test_water_boils_where_the_iapws_table_says(row):
    assert boiling_c(row["pressure_kpa"]) + 273.15 == pytest.approx(row["temperature_k"], abs=1e-6)


@pytest.mark.parametrize("row", WATER["pressure"], ids=lambda row: f"{row['temperature_k']:g} K")
def test_water_has_the_pressure_the_iapws_table_says(row):
    found_kpa = saturation_kpa(row["temperature_k"] - 273.15)
    assert found_kpa == pytest.approx(row["pressure_kpa"], abs=row["tolerance_kpa"])


def test_an_older_table_agrees_to_its_third_of_a_percent():
    vapour = WATER["vapour"]
    for temperature_c, pressure_kpa in zip(vapour["temperature_c"], vapour["pressure_kpa"], strict=True):
        assert saturation_kpa(temperature_c) == pytest.approx(pressure_kpa, rel=vapour["relative_tolerance"])


@pytest.mark.parametrize("pressure_kpa", [50.0, 70.0, 85.0, 95.0, 101.325, 110.0])
def test_a_water_property_package_agrees(pressure_kpa):
    # second opinion: iapws 1.5.5
    from iapws.iapws97 import _TSat_P

    assert boiling_c(pressure_kpa) + 273.15 == pytest.approx(_TSat_P(pressure_kpa / 1000.0), abs=1e-9)


@given(pressure_kpa=pressures_kpa)
def test_boiling_and_pressure_undo_each_other(pressure_kpa):
    assert saturation_kpa(boiling_c(pressure_kpa)) == pytest.approx(pressure_kpa, rel=1e-9)


@given(pressure_kpa=pressures_kpa, factor=st.floats(1.0001, 1.1))
def test_more_pressure_boils_hotter(pressure_kpa, factor):
    assert boiling_c(pressure_kpa * factor) > boiling_c(pressure_kpa)


def test_zero_celsius_is_not_273_2_kelvin():
    # 273.2 in place of 273.15, as printed with one part's equation, would move this by 0.05 K
    assert abs(boiling_c(101.325) - 99.9743) < 5e-5 < abs(boiling_c(101.325) + 273.15 - 273.2 - 99.9743)


def test_a_kilopascal_is_more_than_a_quarter_kelvin():
    rise_k = boiling_c(101.825) - boiling_c(100.825)
    assert boiling_slope_k_per_kpa(101.325) == pytest.approx(rise_k, rel=1e-4)
    assert 0.25 < rise_k < 0.30


@pytest.mark.parametrize("pressure_kpa", [0.0, 0.6, 30_000.0, math.nan, -1.0])
def test_a_pressure_off_the_line_is_refused(pressure_kpa):
    with pytest.raises(SaturationError, match="does not boil"):
        boiling_c(pressure_kpa)


@pytest.mark.parametrize("temperature_c", [-0.1, 400.0, math.nan])
def test_a_temperature_off_the_line_is_refused(temperature_c):
    with pytest.raises(SaturationError, match="critical point"):
        saturation_kpa(temperature_c)
