import json
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


def test_the_diagnosis_does_not_change_the_verdict(check):
    for series_ohm, exit_code in ((0.0, 0), (26.0, 1), (104.0, 1)):
        assert check(series_ohm, "--json").exit_code == exit_code
