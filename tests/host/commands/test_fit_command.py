import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.cli import main

PUBLISHED = Path(__file__).parents[2] / "calibration" / "published"
NTC_2K5 = tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))
KEYS = {
    "model", "coefficients", "std_uncertainties", "covariance", "rms_k", "max_residual_k", "reduced_chi2",
    "valid_from_c", "valid_to_c",
}  # fmt: skip
NAMES = {
    "beta": ["r25_ohm", "beta_k"],
    "steinhart_hart": ["a", "b", "c"],
    "steinhart_hart_square": ["a", "b", "c", "d"],
}


def fit(path: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["fit", str(path), *arguments])


@pytest.fixture
def points(tmp_path):
    def save(rows, extra=""):
        path = tmp_path / "points.csv"
        lines = [f"temperature_c,resistance_ohm{extra}", *(",".join(map(str, row)) for row in rows)]
        path.write_text("\n".join(lines), encoding="utf-8")
        return path

    return save


@pytest.mark.parametrize("model", NAMES)
def test_the_json_holds_what_is_promised(points, model):
    result = fit(points(NTC_2K5["rows"]), "--model", model, "--json")
    data = json.loads(result.stdout)
    assert result.exit_code == 0
    assert data.keys() >= KEYS
    assert data["model"] == model
    assert list(data["coefficients"]) == NAMES[model] == list(data["std_uncertainties"])
    size = len(NAMES[model])
    assert [len(row) for row in data["covariance"]] == [size] * size
    assert data["reduced_chi2"] is None
    assert (data["valid_from_c"], data["valid_to_c"]) == (-40.0, 130.0)
    assert "every point weighs the same in kelvin" in result.stderr


def test_the_published_table_is_fitted_to_its_rounding(points):
    data = json.loads(fit(points(NTC_2K5["rows"]), "--json").stdout)
    assert data["model"] == "steinhart_hart"
    assert data["max_residual_k"] <= NTC_2K5["largest_residual_k"]
    assert data["rms_k"] == pytest.approx(NTC_2K5["rms_k"], abs=NTC_2K5["rms_tolerance_k"])


def test_three_points_say_that_they_leave_no_chi_squared(points):
    path = points([(20, 2500), (60, 596), (90, 243)])
    result = fit(path, "--json")
    data = json.loads(result.stdout)
    assert data["reduced_chi2"] is None
    assert data["std_uncertainties"] is None
    assert data["covariance"] is None
    assert "no chi-squared" in result.stderr
    assert "no chi-squared" in " ".join(fit(path).stdout.split())


def test_given_uncertainties_give_a_chi_squared(points):
    rows = [(t, r, 0.1) for t, r in NTC_2K5["rows"]]
    data = json.loads(fit(points(rows, ",u_temperature_k"), "--json").stdout)
    assert data["reduced_chi2"] == pytest.approx(18 * data["rms_k"] ** 2 / 0.1**2 / 15, rel=1e-6)


def test_auto_says_which_model_it_took_and_why(points):
    result = fit(points(NTC_2K5["rows"]), "--model", "auto", "--json")
    data = json.loads(result.stdout)
    assert data["model"] == "steinhart_hart"
    assert min(data["aicc"], key=data["aicc"].get) == "steinhart_hart"
    assert "Chose Steinhart-Hart" in result.stderr


def test_words_fit_eighty_columns(points):
    result = fit(points(NTC_2K5["rows"]), "--model", "auto")
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "ln(R/Ω)" in result.stdout


@pytest.mark.parametrize(
    ("rows", "arguments", "words"),
    [
        ([(20, 2500), (60, 596)], [], "3 coefficients"),
        ([(20, 2500), (60, 596), (90, 243)], ["--model", "auto"], "too few"),
        ([(20, 100), (60, 115), (90, 127)], [], "does not fall steadily"),
        ([(20, 2500), (60, "x")], [], "row 3, column resistance_ohm"),
        ([(20, 2500)], ["--model", "spline"], "'steinhart_hart'"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(points, rows, arguments, words):
    result = fit(points(rows), *arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr
