"""The simulated benches are what they say, so that what is counted on them means something."""

import numpy as np
import pytest

from calibration.curves import load_curve
from host.benchmarks.course import course
from host.benchmarks.electronics import setups
from host.benchmarks.plateaus import judged_plateaus
from host.benchmarks.programmes import LoopProgramme, PlateauProgramme
from host.benchmarks.world import PROBE, draw_benches, reference_curve


def test_the_reference_curve_runs_through_the_published_rows() -> None:
    for row in load_curve("ntc-2k5-20c").rows:
        if 20.0 <= row.temperature_c <= 110.0:
            shown_c = reference_curve().indicated_c(row.resistance_ohm, at_c=row.temperature_c)
            assert shown_c == pytest.approx(row.temperature_c, abs=0.3)


def test_the_same_seed_draws_the_same_benches() -> None:
    one, other = (draw_benches(6, np.random.default_rng(4)) for _ in range(2))
    assert (one.sender_lag_s == other.sender_lag_s).all()
    assert (one.sender_lag_s >= 3.0).all() and (one.sender_lag_s <= 40.0).all()
    assert (one.heater_lag_s >= 20.0).all() and (one.heater_lag_s <= 90.0).all()


def test_a_probe_stays_within_its_certificate() -> None:
    benches = draw_benches(400, np.random.default_rng(5))
    for at_c in (25.0, 60.0, 95.0):
        ohm = benches.probe_ohm(np.full(400, at_c))
        off_k = np.array([PROBE.temperature_c(float(each)) for each in ohm]) - at_c
        assert np.abs(off_k).max() <= PROBE.expanded_u_k + 1e-3
        assert off_k.std() > 0.01


def test_an_ohms_check_sets_every_range_right_to_within_its_uncertainty() -> None:
    chance = np.random.default_rng(6)
    for setup in setups(draw_benches(10, chance), chance):
        for correction in (*setup.sender_corrections, setup.probe_correction):
            assert correction.remainder_count < 0.5


def test_loops_pause_three_times_and_end_hot_but_below_boiling() -> None:
    chance = np.random.default_rng(7)
    benches = draw_benches(12, chance)
    programme = LoopProgramme(benches)
    went = course(benches, programme, longest_s=5400.0, chance=chance)
    assert np.isfinite(programme.end_s).all()
    assert all(len(spans) == 4 for spans in programme.heater_off)
    assert went.probe_c.max(axis=1).min() > 85.0
    assert went.probe_c.max() < 98.0


@pytest.mark.slow
def test_plateaus_settle_at_every_set_point_of_every_bath() -> None:
    chance = np.random.default_rng(8)
    benches = draw_benches(6, chance)
    programme = PlateauProgramme(benches, (30.0, 60.0, 85.0))
    went = course(benches, programme, longest_s=7200.0, chance=chance)
    for bench in range(benches.count):
        for set_c, (first, past) in zip((30.0, 60.0, 85.0), programme.windows[bench], strict=True):
            assert went.probe_c[bench, first:past] == pytest.approx(set_c, abs=2.0)


def test_a_plateau_of_the_vectorised_world_is_judged_by_the_bench_s_own_code() -> None:
    """No second budget: names and number of lines are those of any certificate."""
    chance = np.random.default_rng(9)
    benches = draw_benches(3, chance)
    for _, judged, true_k in judged_plateaus(benches, np.full(3, 60.0), chance):
        quantities = {line.quantity for line in judged.point.budget.lines}
        assert {"probe: its certificate", "sender: stem", "bath: gradient", "repeatability"} <= quantities
        assert abs(judged.point.error_k - true_k) < 3.0 * judged.point.expanded_u_k
