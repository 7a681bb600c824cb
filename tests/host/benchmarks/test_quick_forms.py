"""The benchmarks' quick forms: the goals hold on few tries too, or a change has broken the science."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from host.benchmarks import load_benchmark
from host.benchmarks.report import BenchmarkResult, no_progress
from host.cli import main

pytestmark = pytest.mark.slow


def quick(name: str) -> BenchmarkResult:
    return load_benchmark(name).run(seed=1, quick=True, progress=no_progress)


def test_intervals_contain_the_truth() -> None:
    result = quick("coverage")
    merits = {merit.name: merit for merit in result.merits}
    # 100 plateaus at a temperature: 91 within are the least that chance allows a true 0.945 (4 in 100).
    worst = merits["plateaus: share of intervals with the truth inside, at the worst temperature"]
    assert worst.value >= 0.91
    loops = result.data["loop"]
    held = sum(each["coverage"] * each["count"] for each in loops.values())
    assert held >= 0.9 * sum(each["count"] for each in loops.values())
    assert merits["plateaus: largest U in K"].reached and merits["loops: largest U in K"].reached


def test_a_loop_takes_less_bath_time_than_plateaus_at_the_same_uncertainty() -> None:
    result = quick("minutes")
    assert [merit.name for merit in result.merits if merit.reached is False] == []
    # As in the long form, the quick one has all ways; every bath heats through.
    assert {row[0] for row in result.rows} >= {"loop", "three plateaus", "five plateaus"}


def test_the_fit_comes_near_the_least_variance() -> None:
    result = quick("efficiency")
    # 36 loops of 5 temperatures: the mean ratio is uncertain by some 15 %.
    assert result.merits[0].value <= 1.2 * 1.3
    assert result.merits[-1].value == 0.0
    # Lags two standard uncertainties off what is assumed; the long form holds some 91 % on the worst bath.
    held = next(merit for merit in result.merits if merit.name.startswith("lags away: share"))
    assert held.value >= 0.75


def test_the_command_writes_table_json_and_figure(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = CliRunner().invoke(
        main, ["benchmark", "science", "--quick", "--only", "minutes", "--seed", "2", "--out", str(out)]
    )
    assert result.exit_code in (0, 3), result.output
    fields = json.loads((out / "minutes.json").read_text("utf-8"))
    assert fields["seed"] == 2
    missed = [merit for merit in fields["figures_of_merit"] if merit["reached"] is False]
    assert result.exit_code == (3 if missed else 0)
    assert (out / "minutes.svg").read_text("utf-8").lstrip().startswith("<?xml")
    assert "## Minutes to a verdict" in (out / "science.md").read_text("utf-8")


def test_a_shop_s_infrared_thermometers_are_caught_and_hardly_one_passes_wrongly() -> None:
    result = quick("shop_year")
    merits = {merit.name: merit.value for merit in result.merits}
    for words in {row[0] for row in result.rows}:
        # 288 intervals, nine of a check in step: 0.90 is the least that chance allows a true 0.945.
        assert merits[f"{words}: share of intervals with the truth inside"] >= 0.90
        assert merits[f"{words}: passed though out of its limit, of all checks"] <= 0.02
    caught = {words: sum(int(row[3]) for row in result.rows if row[0] == words) for words, *_ in result.rows}
    assert caught["cavity, probe of a bench"] > 0
