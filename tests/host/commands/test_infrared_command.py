import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.cli import main

PUBLISHED = Path(__file__).parents[2] / "calibration" / "published"
TABLE = tomllib.loads((PUBLISHED / "infrared.toml").read_text("utf-8"))
SHOT = ("--set", "0.95", "--surface", "0.94", "--surroundings", "23C")


def infrared(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["infrared", *arguments])


def infrared_json(*arguments):
    result = infrared(*arguments, "--json")
    assert result.exit_code == 0
    assert "surface" in result.stderr
    return json.loads(result.stdout)


@pytest.mark.parametrize("row", TABLE["row"], ids=lambda row: f"{row['temperature_c']:g} °C")
def test_the_reading_of_a_true_temperature_is_as_worked_out(row):
    data = infrared_json("--true", f"{row['temperature_c']}C", *SHOT)
    assert data["correction_k"] == pytest.approx(row["reading_error_k"], abs=5.1e-5)


def test_the_reading_leads_back_to_the_true_temperature():
    shown_c = infrared_json("--true", "100C", *SHOT)["reading_c"]
    data = infrared_json("--reading", f"{shown_c:.9f}C", *SHOT)
    assert data["true_c"] == pytest.approx(100.0, abs=1e-6)
    assert data["true_f"] == pytest.approx(212.0, abs=1e-5)
    assert data["expanded_u_k"] > 2.0  # twice the assumed standard uncertainty of the thermometer, at least


def test_degrees_fahrenheit_give_the_same_surface():
    celsius = infrared_json("--reading", "100C", *SHOT)
    fahrenheit = infrared_json(
        "--reading", "212F", "--set", "0.95", "--surface", "0.94", "--surroundings", "73.4F"
    )
    assert fahrenheit["true_c"] == pytest.approx(celsius["true_c"], abs=1e-9)


@pytest.mark.parametrize("known", ["--reading", "--true"])
def test_equal_emissivities_do_not_make_the_surroundings_certain(known):
    equal = (
        "--set",
        "0.6",
        "--surface",
        "0.6",
        "--surroundings",
        "23C",
        "--u-surface",
        "0",
        "--u-reading",
        "0.1",
    )
    own_body = infrared_json(known, "90C", *equal)
    told = infrared_json(known, "90C", *equal, "--believed", "23C", "--u-surroundings", "0")
    assert own_body["believed_half_width_k"] == 5.0
    assert told["believed_half_width_k"] == 0.0
    assert own_body["expanded_u_k"] > 1.5 * told["expanded_u_k"]


def test_the_assumption_about_the_thermometer_is_said():
    assumed = " ".join(infrared("--reading", "90C", *SHOT).stdout.split())
    assert "own body for the surroundings" in assumed
    assert "± 5 K (assumed by common practice, no single source)" in assumed
    stated = infrared("--reading", "90C", *SHOT, "--believed", "25C", "--u-believed", "2").stdout
    assert "takes 25 ± 2 °C for the surroundings (as stated)" in stated


def test_a_certificate_of_the_thermometer_lowers_the_uncertainty():
    bought = infrared_json("--reading", "90C", *SHOT)
    certified = infrared_json("--reading", "90C", *SHOT, "--u-reading", "0.2", "--u-surface", "0.01")
    assert certified["expanded_u_k"] < 0.5 * bought["expanded_u_k"]


def test_a_surface_may_be_named_and_its_source_is_said():
    result = infrared(
        "--reading", "90C", "--set", "0.95", "--surface", "cast iron oxidised", "--surroundings", "23C"
    )
    assert result.exit_code == 0
    assert "0.775 ± 0.175" in result.stdout
    assert "no single source" in result.stdout


def test_the_list_of_surfaces_says_whose_words_they_are():
    listed = infrared("--surfaces").stdout
    assert "vinyl electrical tape" in listed
    assert "Source: common practice" in listed
    assert max(len(line) for line in listed.splitlines()) <= 110


def test_another_band_gives_another_answer():
    handheld = infrared_json("--true", "100C", *SHOT)
    rig = infrared_json("--true", "100C", *SHOT, "--thermometer", "rig")
    assert 0.01 < abs(handheld["reading_c"] - rig["reading_c"]) < 0.2


def test_a_target_of_two_spots_is_taken_and_said():
    result = infrared("--reading", "90C", *SHOT, "--ratio", "12", "--distance-mm", "300", "--target-mm", "60")
    assert result.exit_code == 0
    assert "25 mm wide on a target of 60 mm" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (SHOT, "one of --reading"),
        (("--reading", "90C", "--true", "90C", *SHOT), "one of --reading"),
        (("--reading", "90C", "--set", "0.95"), "--surroundings 23C"),
        (("--reading", "90", *SHOT), "no unit"),
        (("--reading", "90C", "--set", "0.95", "--surface", "1.2", "--surroundings", "23C"), "at most 1"),
        (("--reading", "90C", "--set", "0.95", "--surface", "chrome", "--surroundings", "23C"), "--surfaces"),
        (
            ("--reading", "90C", "--set", "0.95", "--surface", "aluminium polished", "--surroundings", "23C"),
            "mirrors the room",
        ),
        (("--reading", "90C", "--set", "0.05", "--surface", "0.94", "--surroundings", "23C"), "display"),
        (("--reading", "90C", *SHOT, "--ratio", "12", "--distance-mm", "300", "--target-mm", "40"), "240 mm"),
        (("--reading", "90C", *SHOT, "--ratio", "12"), "all of --ratio"),
        (("--reading", "90C", *SHOT, "--u-reading", "1e300"), "at most 100"),
        (("--reading", "90C", *SHOT, "--u-believed", "nan"), "0 K or more"),
        (("--reading", "90C", *SHOT, "--u-surroundings", "nan"), "0 K or more"),
        (
            ("--reading", "90C", *SHOT, "--ratio", "12", "--distance-mm", "300", "--target-mm", "nan"),
            "measure it across",
        ),
        (("--reading", "20C", "--set", "0.95", "--surface", "0.2", "--surroundings", "90C"), "Shield"),
    ],
)
def test_a_shot_that_says_nothing_is_one_line_and_exit_code_2(arguments, words):
    result = infrared(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr


def test_words_fit_eighty_columns_and_the_laser_is_cautioned():
    result = infrared("--reading", "100C", *SHOT)
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "emissivity 0.94 ± 0.02 (assumed)" in result.stdout
    assert "laser" in infrared("--help").stdout
