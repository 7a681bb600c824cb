"""A loop on the bench is judged by the plateau's corrections and budget."""

import dataclasses

import numpy as np
import pytest

from calibration.bench_loop import BenchLoop, fit_bench_loop, judge_loop
from calibration.bench_point import Plateau, judge_plateau
from calibration.bench_stand import BenchPointError, BenchSetup
from calibration.conformity import DecisionRule
from host.benchmarks.course import course
from host.benchmarks.electronics import probe_counts, sender_counts, setups
from host.benchmarks.programmes import LoopProgramme
from host.benchmarks.world import Benches, draw_benches

AIR_C = 22.0
# A jug: its heater and its sender are neither the fastest nor the slowest.
JUG = 2
MOVEMENT = {"bath: drift and lag", "repeatability", "loop: a further body", "loop: noise and lags"}


def quiet_jug(chance: np.random.Generator) -> Benches:
    drawn = draw_benches(3, chance).some(slice(JUG, JUG + 1))
    still = {name: np.zeros(1) for name in ("gradient_s", "wander_k", "swirl_k", "body_share", "gradient_k")}
    return dataclasses.replace(
        drawn, **still, sender_lag_s=np.array([12.0]), air_c=np.array([AIR_C]), count_noise=np.array([0.05])
    )


@pytest.fixture(scope="module")
def bench() -> tuple[Benches, BenchSetup, BenchLoop]:
    chance = np.random.default_rng(5)
    jug = quiet_jug(chance)
    programme = LoopProgramme(jug)
    went = course(jug, programme, longest_s=3600.0, chance=chance)
    sender, ranges = sender_counts(jug, jug.sender_ohm(went.element_c), chance)
    probe = probe_counts(jug, jug.probe_ohm(went.probe_c), chance)
    loop = BenchLoop(
        time_s=tuple(went.time_s.tolist()),
        sender_count=tuple(sender[0].tolist()),
        probe_count=tuple(probe[0].tolist()),
        sender_range_ohm=tuple(ranges[0].tolist()),
        air_c=AIR_C,
        heater_off=tuple(programme.heater_off[0]),
    )
    return jug, setups(jug, chance)[0], loop


def test_the_loop_and_a_plateau_on_the_same_still_bench_find_the_same_error(
    bench: tuple[Benches, BenchSetup, BenchLoop],
) -> None:
    jug, setup, loop = bench
    chance = np.random.default_rng(6)
    fit = fit_bench_loop(loop, setup)
    by_loop = judge_loop(fit, loop, setup, temperatures_c=[60.0], rule=DecisionRule.GUARDED, limit_k=None)[0]
    still_c = np.full((1, 240), 60.0)
    sender, ranges = sender_counts(jug, jug.sender_ohm(still_c - jug.stem_k(np.array([60.0]))), chance)
    plateau = Plateau(
        sender_count=tuple(sender[0].tolist()),
        probe_count=tuple(probe_counts(jug, jug.probe_ohm(still_c), chance)[0].tolist()),
        sender_range_ohm=float(ranges[0, 0]),
        slope_k_per_min=0.0,
        air_c=AIR_C,
    )
    by_plateau = judge_plateau(plateau, setup, rule=DecisionRule.GUARDED, limit_k=None)
    # The still bath here is without self-heating: half the span the budget gives it is all that may differ.
    assert by_loop.point.error_k == pytest.approx(by_plateau.point.error_k, abs=0.03)
    apart = {line.quantity: line.contribution for line in by_plateau.point.budget.lines}
    for line in by_loop.point.budget.lines:
        if line.quantity not in MOVEMENT:
            assert line.contribution == pytest.approx(apart[line.quantity], rel=0.05), line.quantity
    names = {line.quantity for line in by_loop.point.budget.lines}
    assert names - MOVEMENT == set(apart) - MOVEMENT


def test_the_lag_is_found_and_the_budget_adds_up(bench: tuple[Benches, BenchSetup, BenchLoop]) -> None:
    jug, setup, loop = bench
    fit = fit_bench_loop(loop, setup)
    assert fit.lags.mean_sender_s - fit.lags.probe_s == pytest.approx(
        12.0 - float(jug.probe_lag_s[0]), abs=1.0
    )
    judged = judge_loop(
        fit, loop, setup, temperatures_c=[30.0, 85.0], rule=DecisionRule.GUARDED, limit_k=None
    )
    for bench_point in judged:
        budget = bench_point.point.budget
        total = sum(line.contribution**2 for line in budget.lines) ** 0.5
        assert budget.standard_u == pytest.approx(total)
        assert bench_point.point.expanded_u_k <= 0.25


def test_a_loop_beyond_the_probe_s_certificate_gives_no_result(
    bench: tuple[Benches, BenchSetup, BenchLoop],
) -> None:
    _, setup, loop = bench
    short = dataclasses.replace(setup, probe=dataclasses.replace(setup.probe, valid_to_c=70.0))
    with pytest.raises(BenchPointError, match="0 to 70 °C"):
        fit_bench_loop(loop, short)
