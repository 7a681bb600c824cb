"""The quick form of the speed benchmark: that it measures what it says; times are judged by the long form."""

import json

import pytest
from matplotlib.figure import Figure

from calibration.bath.lag import Lags, followed
from calibration.conformity import Verdict
from host.benchmarks import BENCHMARKS, load_benchmark
from host.benchmarks.report import json_of, markdown, no_progress
from host.benchmarks.speed import alternately
from host.benchmarks.speed_check import checked, readings_of
from host.benchmarks.speed_loop import COMPARED_C, LoopReadings, by_lmfit, by_the_bench, element_c
from host.benchmarks.speed_monte_carlo import by_metrolopy
from host.benchmarks.speed_monte_carlo import by_the_bench as trials_by_the_bench

pytestmark = pytest.mark.slow


def test_both_monte_carlos_come_to_the_same_uncertainty():
    # second opinion: metrolopy 1.1.1
    ours, theirs = trials_by_the_bench(200_000, 5), by_metrolopy(200_000, 6)
    assert ours.standard_u_k == pytest.approx(theirs.standard_u_k, rel=0.006)
    assert ours.half_interval_k == pytest.approx(theirs.half_interval_k, rel=0.01)


def test_both_fits_find_the_curve_of_one_loop_again():
    # second opinion: lmfit 1.3.4
    loop = LoopReadings(10_000, 7)
    for errors_k in (by_the_bench(loop), by_lmfit(loop)):
        assert list(errors_k) == list(COMPARED_C)
        assert max(map(abs, errors_k.values())) < 0.03


def test_the_forward_model_written_for_lmfit_is_the_bench_s_own():
    # or the two would not fit the same thing
    loop = LoopReadings(10_000, 7)
    lags = Lags(sender_s=20.0, probe_s=5.0, slope_per_k=-0.004, slow_share=0.2)
    ours_c = followed(loop.time_s, loop.probe_c, lags).sender_c
    assert element_c(loop.time_s, loop.probe_c, lags) == pytest.approx(ours_c, abs=1e-9)


def test_the_whole_check_finds_the_resistance_in_series():
    found = checked(readings_of(8))
    assert found.verdict is Verdict.OUT_OF_TOLERANCE
    assert "in series" in found.why[0]
    assert len(found.tables) == 5
    assert set(found.coefficients) == {"a", "b", "c"}


def test_tasks_are_timed_turn_by_turn_after_a_first_that_warms_up():
    order = []
    timed = alternately({"one": lambda: order.append(1), "two": lambda: order.append(2)}, 3)
    assert order == [1, 2] * 4
    assert [len(timed[name].seconds) for name in ("one", "two")] == [3, 3]
    assert 0.0 <= timed["one"].shortest_s <= timed["one"].median_s


def test_the_report_holds_ratios_goals_and_a_figure():
    assert "speed" in BENCHMARKS
    result = load_benchmark("speed").run(seed=9, quick=True, progress=no_progress)
    assert [merit.goal for merit in result.merits] == [1.0, 1.0, 0.25]
    for merit in result.merits:
        # far from the goals: a busy machine may not fail this, a lost order of magnitude must
        assert merit.value < 10.0 * merit.goal
    data = json.loads(json_of(result, machine="here", seconds=1.0))
    assert data["data"]["versions"].keys() == {"lmfit", "metrolopy"}
    assert "whole sender check" in markdown(result, machine="here", seconds=1.0)
    figure = Figure()
    result.draw(figure)
    assert len(figure.axes[0].patches) == 5
