import csv
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import (
    EIGHT_TO_FOURTEEN_UM,
    LIGHT_M_PER_S,
    PLANCK_J_S,
    RIG_SENSOR_BAND,
    SECOND_RADIATION_CONSTANT_UM_K,
    PlanckBand,
    band_fraction,
    fraction_below,
    spectral_radiance,
)
from calibration.infrared.radiation_law import STEFAN_BOLTZMANN, FourthPower

PUBLISHED = Path(__file__).parents[1] / "published"
TABLE = tomllib.loads((PUBLISHED / "infrared.toml").read_text("utf-8"))
MISPRINTED = {"1500"}
temperatures_c = st.floats(-50.0, 450.0)
bands = st.sampled_from([EIGHT_TO_FOURTEEN_UM, RIG_SENSOR_BAND, PlanckBand(from_um=3.0, to_um=5.0)])


def printed_fractions():
    lines = (PUBLISHED / "modest_band_fraction.csv").read_text("utf-8").splitlines()
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        if row["lambdaT_um_K"] not in MISPRINTED:
            yield float(row["lambdaT_um_K"]), float(row["F_0_to_lambdaT"])


@pytest.mark.parametrize(("product", "printed"), list(printed_fractions()))
def test_the_share_below_a_wavelength_is_that_of_the_printed_table(product, printed):
    assert fraction_below(product) == pytest.approx(printed, abs=2e-5)


def test_the_second_radiation_constant_is_that_of_codata():
    constants = TABLE["constants"]
    assert SECOND_RADIATION_CONSTANT_UM_K * 1e-6 == pytest.approx(
        constants["second_radiation_constant_m_k"], abs=constants["second_radiation_constant_tolerance"]
    )


@pytest.mark.parametrize("row", TABLE["row"], ids=lambda row: f"{row['temperature_c']:g} °C")
def test_the_band_of_a_handheld_sends_what_series_and_quadrature_agree_on(row):
    band, at_c = EIGHT_TO_FOURTEEN_UM, row["temperature_c"]
    assert band.signal(at_c) == pytest.approx(row["radiance"], abs=1e-6)
    assert 100.0 * band.slope_per_k(at_c) / band.signal(at_c) == pytest.approx(
        row["slope_percent_per_k"], abs=5e-5
    )


def test_planck_agrees_with_a_colour_science_package():
    # second opinion: colour-science 0.4.7, given our constants in place of its rounded ones
    from colour.colorimetry import planck_law

    wavelength_um = np.array([5.5, 8.0, 10.0, 14.0])
    theirs = planck_law(
        wavelength_um * 1e-6,
        363.15,
        c1=2.0 * math.pi * PLANCK_J_S * LIGHT_M_PER_S**2,
        c2=SECOND_RADIATION_CONSTANT_UM_K * 1e-6,
    )
    assert spectral_radiance(wavelength_um, 363.15) == pytest.approx(np.ravel(theirs) * 1e-6, rel=1e-12)


@given(temperature_c=temperatures_c)
def test_all_wavelengths_together_give_the_stefan_boltzmann_law(temperature_c):
    band = PlanckBand(from_um=4.0, to_um=40.0)
    whole = STEFAN_BOLTZMANN * (temperature_c + 273.15) ** 4 / math.pi
    assert band.signal(temperature_c) == pytest.approx(whole * band_fraction(band, temperature_c), rel=1e-6)


@given(temperature_c=temperatures_c, band=bands)
def test_a_band_finds_back_its_temperature(temperature_c, band):
    assert band.temperature_c(band.signal(temperature_c)) == pytest.approx(temperature_c, abs=1e-7)


@given(temperature_c=temperatures_c, step_k=st.floats(0.001, 40.0), band=bands)
def test_hotter_sends_more(temperature_c, step_k, band):
    assert band.signal(temperature_c + step_k) > band.signal(temperature_c)


@given(temperature_c=temperatures_c, band=bands)
def test_the_slope_is_that_of_the_signal(temperature_c, band):
    rise = band.signal(temperature_c + 0.01) - band.signal(temperature_c - 0.01)
    assert band.slope_per_k(temperature_c) == pytest.approx(rise / 0.02, rel=1e-5)


@given(temperature_c=temperatures_c)
def test_the_fourth_power_finds_back_its_temperature(temperature_c):
    law = FourthPower()
    assert law.temperature_c(law.signal(temperature_c)) == pytest.approx(temperature_c, abs=1e-7)


@given(low=st.floats(100.0, 50_000.0), factor=st.floats(1.001, 10.0))
def test_a_longer_wavelength_leaves_more_below_it(low, factor):
    assert 0.0 <= fraction_below(low) <= fraction_below(low * factor) <= 1.0 + 1e-12


@pytest.mark.parametrize("temperature_c", [-80.0, 1200.0, math.nan])
def test_a_temperature_beyond_the_span_is_refused(temperature_c):
    with pytest.raises(InfraredError, match="-60 to 500"):
        EIGHT_TO_FOURTEEN_UM.signal(temperature_c)


@pytest.mark.parametrize(("signal", "words"), [(0.1, "colder"), (1e5, "hotter")])
def test_radiance_of_no_temperature_is_refused(signal, words):
    with pytest.raises(InfraredError, match=words):
        EIGHT_TO_FOURTEEN_UM.temperature_c(signal)


@pytest.mark.parametrize(("from_um", "to_um"), [(14.0, 8.0), (0.0, 8.0), (8.0, math.inf)])
def test_a_band_without_width_is_refused(from_um, to_um):
    with pytest.raises(InfraredError, match="shorter wavelength first"):
        PlanckBand(from_um=from_um, to_um=to_um)


def test_a_wavelength_below_zero_is_refused():
    with pytest.raises(InfraredError):
        fraction_below(0.0)
