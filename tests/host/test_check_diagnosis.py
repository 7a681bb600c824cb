import json
import math
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from host.cli import main

PUBLISHED = Path(__file__).parents[1] / "calibration" / "published"
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
FINDING_KEYS = {"fault", "weight", "size", "unit", "next_action"}


@pytest.fixture
def check(tmp_path):
    """Check the 2.5 kΩ maker's rows at 20, 60 and 90 °C with something in series."""

    def run(series_ohm: float, *arguments: str) -> Result:
        path = tmp_path / "points.csv"
        rows = [f"{t},{NTC_2K5[t] + series_ohm}" for t in (20, 60, 90)]
        path.write_text("temperature_c,resistance_ohm\n" + "\n".join(rows) + "\n", encoding="utf-8")
        return CliRunner().invoke(
            main, ["check", str(path), "--curve", "ntc-2k5-20c", "--limit-k", "2", *arguments]
        )

    return run


def diagnosis(result: Result) -> list[dict]:
    return json.loads(result.stdout)["diagnosis"]


@pytest.mark.parametrize(
    ("series_ohm", "fault"),
    [(0.0, "healthy"), (14.0, "cannot_tell"), (26.0, "cannot_tell"), (104.0, "series")],
)
def test_the_heaviest_finding_comes_first_and_all_weigh_one(check, series_ohm, fault):
    findings = diagnosis(check(series_ohm, "--json"))
    assert findings[0]["fault"] == fault
    weights = [finding["weight"] for finding in findings]
    assert weights == sorted(weights, reverse=True)
    assert sum(weights) == pytest.approx(1.0)
    for finding in findings:
        assert finding.keys() >= FINDING_KEYS
        assert finding["next_action"]


def test_the_series_resistance_comes_with_its_size_in_ohms(check):
    finding = diagnosis(check(104.0, "--json"))[0]
    assert (finding["unit"], finding["size"]) == ("ohm", pytest.approx(104.0, abs=5.0))


def test_the_report_says_why_and_what_next_where_the_sender_is_off(check):
    result = check(104.0)
    assert result.exit_code == 1
    words = " ".join(result.stdout.split())
    assert "Why Most likely resistance in series" in words
    assert "Next: Clean the terminals" in words
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_a_good_sender_gets_no_reason(check):
    result = check(0.0)
    assert result.exit_code == 0
    assert "Why" not in result.stdout


@pytest.fixture
def check_rows(tmp_path):
    """Check rows as typed."""

    def run(rows: str, *arguments: str, curve: str = "ntc-2k5-20c") -> Result:
        path = tmp_path / "typed.csv"
        path.write_text("temperature_c,resistance_ohm\n" + rows, encoding="utf-8")
        return CliRunner().invoke(main, ["check", str(path), "--curve", curve, *arguments])

    return run


@pytest.mark.parametrize(
    ("cells", "fault"),
    [
        (("OL", "open", "O.L"), "open"),
        (("0", "0.0", "short"), "short"),
        (("OL", "3e7", "8e6"), "open"),
        (("0.3", "0.4", "0.2"), "short"),
    ],
)
def test_a_dead_circuit_has_a_reason_with_its_next_action(check_rows, cells, fault):
    rows = "".join(f"{t},{cell}\n" for t, cell in zip((20, 60, 90), cells, strict=True))
    finding = diagnosis(check_rows(rows, "--limit-k", "2", "--json"))[0]
    assert (finding["fault"], finding["size"], finding["unit"]) == (fault, None, "")
    assert finding["weight"] > 0.99
    assert "pins" in finding["next_action"]


def test_a_sender_that_cannot_be_read_has_no_verdict_but_a_reason(check_rows, tmp_path):
    paper = tmp_path / "paper.pdf"
    arguments = ("--limit-k", "2", "--json", "--certificate", str(paper))
    result = check_rows("20,OL\n60,OL\n90,OL\n", *arguments)
    data = json.loads(result.stdout)
    assert result.exit_code == 3
    assert (data["verdict"], data["points"], data["certificate"]) == (None, [], None)
    assert "At no temperature could the sender be read" in data["reason"]
    assert [dead["circuit"] for dead in data["not_read"]] == ["open"] * 3
    assert not paper.exists() and "No certificate is written" in result.stderr


def test_points_that_read_are_judged_and_those_that_do_not_are_shown_beside_them(check_rows):
    """The maker's rows at 20 and 80 °C; at 60 °C the contact was open."""
    rows = f"20,{NTC_2K5[20]}\n60,OL\n80,{NTC_2K5[80]}\n"
    result = check_rows(rows, "--limit-k", "4", "--json")
    data = json.loads(result.stdout)
    assert (result.exit_code, data["verdict"]) == (3, "not_decided")
    assert {point["verdict"] for point in data["points"]} == {"in_tolerance"}
    assert [point["temperature_c"] for point in data["points"]] == [20.0, 80.0]
    assert data["diagnosis"][0]["fault"] == "intermittent"
    words = " ".join(check_rows(rows, "--limit-k", "4").stdout.split())
    assert "OL not judged" in words
    assert "that were checked. It could not be read at 60 °C, so that it is not decided." in words
    assert "surer thermometer" not in words
    assert "Most likely an intermittent contact" in words


@pytest.mark.parametrize("cell", ["OL", "0", "8e6"])
@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_no_sender_passes_that_could_not_be_read_everywhere(check_rows, cell, rule):
    rows = f"20,{NTC_2K5[20]}\n60,{NTC_2K5[60]}\n80,{cell}\n"
    assert check_rows(rows, "--limit-k", "4", "--rule", rule).exit_code == 3


def test_a_sender_that_is_out_where_it_could_be_read_stays_out(check_rows):
    result = check_rows(f"20,OL\n80,{1.6 * NTC_2K5[80]}\n", "--limit-k", "2", "--json")
    data = json.loads(result.stdout)
    assert (result.exit_code, data["verdict"]) == (1, "out_of_tolerance")


@pytest.mark.parametrize("factor", [1e3, 1e-3])
def test_a_file_in_the_wrong_unit_is_refused_and_not_called_dead(check_rows, factor):
    rows = "".join(f"{t},{factor * NTC_2K5[t]:g}\n" for t in (20, 60, 90))
    result = check_rows(rows, "--limit-k", "4")
    assert result.exit_code == 2
    assert "ohms and kilohms were mixed up" in result.stderr


def test_a_meter_on_too_low_a_range_is_thought_of_first(check_rows):
    rows = f"20,OL\n60,{NTC_2K5[60]}\n80,{NTC_2K5[80]}\n"
    assert "higher range" in diagnosis(check_rows(rows, "--limit-k", "4", "--json"))[0]["next_action"]


def test_points_that_nothing_explains_are_looked_at_for_a_slip_of_the_pen(check_rows):
    """Kilohms were typed for ohms at 60 °C: a surer thermometer would not help."""
    finding = diagnosis(check_rows("20,2500\n60,3000\n90,243\n", "--limit-k", "2", "--json"))[0]
    assert finding["fault"] == "cannot_tell"
    assert "mistyped" in finding["next_action"] and "surer" not in finding["next_action"]


def test_a_part_that_is_not_listed_is_to_be_identified(check_rows):
    """A 100 kΩ thermistor of beta 4200 K, worked out here: no sender of the library."""
    rows = "".join(
        f"{t},{1e5 * math.exp(4200 * (1 / (t + 273.15) - 1 / 298.15)):.6g}\n" for t in (20, 60, 90)
    )
    finding = diagnosis(check_rows(rows, "--limit-k", "2", "--json"))[0]
    assert finding["fault"] != "healthy"
    if finding["fault"] == "cannot_tell":
        assert "part number" in finding["next_action"]


def test_limits_alone_cannot_tell_fourteen_ohms_and_what_would_is_said(check_rows):
    rows = "".join(f"{t},{NTC_2K5[t] + 14.0}\n" for t in (20, 60, 80))
    words = " ".join(check_rows(rows, curve="ntc-310-80c").stdout.split())
    assert "Cannot tell" in words
    assert "another sender of the same part" in words and "terminals cleaned" in words


def test_the_diagnosis_does_not_change_the_verdict(check):
    for series_ohm, exit_code in ((0.0, 0), (26.0, 1), (104.0, 1)):
        assert check(series_ohm, "--json").exit_code == exit_code
