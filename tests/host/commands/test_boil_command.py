import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.cli import main

PUBLISHED = Path(__file__).parents[2] / "calibration" / "published"
WATER = tomllib.loads((PUBLISHED / "water.toml").read_text("utf-8"))


def boil(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["boil", *arguments])


def boil_json(*arguments):
    result = boil(*arguments, "--json")
    assert result.exit_code == 0
    assert "Water boils here" in result.stderr
    return json.loads(result.stdout)


def test_water_boils_at_the_iapws_temperature_of_the_pressure():
    row = next(row for row in WATER["saturation"] if row["pressure_kpa"] == 100.0)
    data = boil_json("--pressure", "1000hPa")
    assert data["boiling_c"] + 273.15 == pytest.approx(row["temperature_k"], abs=1e-6)
    assert data["boiling_f"] == pytest.approx(data["boiling_c"] * 1.8 + 32.0)


@pytest.mark.parametrize("written", ["95kPa", "950hPa", "950mbar", "0.95bar"])
def test_the_same_pressure_in_any_unit_boils_alike(written):
    assert boil_json("--pressure", written)["boiling_c"] == pytest.approx(98.1783, abs=5e-5)


def test_an_altitude_boils_as_the_standard_atmosphere_and_less_surely():
    air = WATER["atmosphere"]
    place = air["altitude_m"].index(1000.0)
    data = boil_json("--altitude", "1000m")
    assert data["boiling_c"] == pytest.approx(air["boiling_c"][place], abs=0.01)
    assert data["expanded_u_k"] > 0.5 > boil_json("--pressure", "90kPa")["expanded_u_k"]


def test_in_the_steam_it_is_surer():
    deep = boil_json("--pressure", "95kPa")
    steam = boil_json("--pressure", "95kPa", "--depth-cm", "0")
    assert steam["expanded_u_k"] < deep["expanded_u_k"]
    assert steam["boiling_c"] == deep["boiling_c"]


def test_a_pressure_that_fits_its_altitude_is_taken():
    assert boil_json("--pressure", "845hPa", "--altitude", "1500m")["pressure_kpa"] == pytest.approx(84.5)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "give --pressure"),
        (("--pressure", "1013hPa", "--altitude", "1500m"), "reduced to sea level"),
        (("--pressure", "40kPa"), "outside 50 to 110 kPa"),
        (("--altitude", "5500m"), "where shops stand"),
        (("--pressure", "1013"), "no unit"),
        (("--pressure", "95kPa", "--depth-cm", "80"), "depth-cm"),
    ],
)
def test_what_cannot_boil_here_is_one_line_and_exit_code_2(arguments, words):
    result = boil(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr


def test_words_fit_eighty_columns_and_caution_is_given():
    result = boil("--altitude", "1500m")
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "weather" in result.stdout
    assert "scald" in boil("--help").stdout
