import json
import re

import pytest
from click.testing import CliRunner, Result

from calibration.curves import curve_names, load_curve
from host.cli import main


def curves(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["curves", *arguments])


def test_every_curve_is_listed():
    result = curves()
    assert result.exit_code == 0
    for name in curve_names():
        assert name in result.stdout.split()
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert [curve["name"] for curve in json.loads(curves("--json").stdout)["curves"]] == list(curve_names())


@pytest.mark.parametrize("name", curve_names())
def test_one_curve_is_shown_with_source_tolerance_and_table(name):
    curve, result = load_curve(name), curves("show", name)
    assert result.exit_code == 0
    words = " ".join(result.stdout.split())
    assert f"tolerance {curve.tolerance}" in words
    assert " ".join(re.findall(r"\S+", curve.source))[:60] in words
    assert curve.content_hash in words
    for row in curve.rows:
        assert re.search(rf"^\s*{row.temperature_c:g}\s.*\b{row.resistance_ohm:.10g}\b", result.stdout, re.M)
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_a_printed_limit_is_shown_as_printed():
    # Hyundai Accent 2004: 298 to 322 Ω at 80 °C
    assert re.search(r"80\s+176\s+298\s+310\s+322", curves("show", "ntc-310-80c").stdout)


def test_json_is_for_scripts():
    data = json.loads(curves("show", "ntc-310-80c", "--json").stdout)
    assert data["rows"][6] == {
        "temperature_c": 80.0, "resistance_ohm": 310.0, "min_ohm": 298.0, "max_ohm": 322.0,
    }  # fmt: skip


def test_a_file_of_ones_own_is_shown_or_refused_in_one_line(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(
        'title = "x"\nsource = "invented"\ntolerance = "unknown"\nwiring = "unknown"\n'
        'allowed_current_ma = "unknown"\nrows = [\n{temperature_c = 20, resistance_ohm = 2500},\n'
        "{temperature_c = 80, temperature_f = 176, resistance_ohm = 323},\n]\n",
        encoding="utf-8",
    )
    assert "2500" in curves("show", str(path)).stdout
    path.write_text(path.read_text("utf-8").replace("176", "167"), encoding="utf-8")
    result = curves("show", str(path))
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert "row 2" in result.stderr


@pytest.mark.parametrize("name", ["nothing", "./nothing.toml"])
def test_an_unknown_curve_is_one_line(name):
    result = curves("show", name)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
