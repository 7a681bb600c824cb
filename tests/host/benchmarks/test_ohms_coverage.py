"""Do the intervals of an ohms check, and of a meter on a box, hold the truth where it is known?"""

import numpy as np
import pytest

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.error_as_found import error_as_found
from calibration.resistance.error_model import Surroundings
from calibration.resistance.error_model import _Bench as Bench
from calibration.resistance.meter_and_box import (
    CLIPS_OHM,
    DialReading,
    box_against_meter,
    meter_against_box,
)
from calibration.resistance.ohmmeter import CertifiedReading, Ohmmeter
from calibration.resistance.three_tap import resistance_from_ratio_count
from calibration.uncertainty.budget import combine
from host.benchmarks.circuit import WIRED
from host.benchmarks.electronics import counts, setups
from host.benchmarks.world import BOX, HIGH_RANGE_OHM, LOW_RANGE_OHM, draw_benches

pytestmark = pytest.mark.slow

#: 95.45 % less what 600 draws scatter by: two standard deviations, 1.7 %.
LEAST_HELD = 0.937


def test_the_error_as_found_of_drawn_benches_is_held_by_its_interval():
    chance = np.random.default_rng(7)
    benches = draw_benches(600, chance)
    made = setups(benches, chance)
    for number, (range_ohm, part) in enumerate(
        ((HIGH_RANGE_OHM, benches.high_part), (LOW_RANGE_OHM, benches.low_part))
    ):
        at_ohm = np.full((benches.count, 1), range_ohm)
        seen = counts(benches, at_ohm, range_ohm, part[:, np.newaxis], None)[:, 0]
        held = 0
        for setup, count in zip(made, seen, strict=True):
            true_error_ohm = resistance_from_ratio_count(float(count), range_ohm) - range_ohm
            budget = error_as_found(setup.sender_corrections[number], BOX, range_ohm)
            held += abs(budget.estimate - true_error_ohm) <= budget.expanded_u
        assert held / benches.count >= LEAST_HELD


@pytest.mark.parametrize("true_ohm", [500.0, 8000.0, 11_000.0, 12_500.0, 15_000.0])
def test_a_resistance_beyond_the_settings_of_the_box_is_held_by_its_interval_too(true_ohm):
    """The box ends at 9999 Ω; a 10 kΩ probe in cold water and a 15 kΩ sender lie beyond."""
    chance = np.random.default_rng(3)
    held = benches = 0
    while benches < 400:
        bench = Bench.draw(WIRED[HIGH_RANGE_OHM], Surroundings(drift_k=0.0), chance)
        correction = bench.checked()
        [count] = bench.counts(np.array([true_ohm]), 60)
        u_ohm = correction.standard_u_ohm(count)
        held += abs(correction.corrected_ohm(count) - true_ohm) <= 2.0 * u_ohm
        benches += 1
    assert held / benches >= LEAST_HELD
    assert u_ohm / true_ohm < 0.001


@pytest.mark.parametrize("digit_ohm", [0.01, 0.1, 1.0])
def test_errors_of_drawn_meters_and_boxes_are_held_by_their_intervals(digit_ohm):
    chance = np.random.default_rng(11)
    draws, held_of_meter, held_of_box = 600, 0, 0
    for _ in range(draws):
        setting = int(chance.choice([200, 500, 1000, 2000, 5000]))
        moved = 1e-4
        box_off = chance.normal(0.0, 0.5e-4) + chance.uniform(-moved, moved)
        fixed_off_ohm = chance.normal(0.0, 0.015)
        meter_off, lead_ohm = chance.normal(0.0, 5e-4), chance.uniform(0.05, 0.3)
        true_ohm = setting * (1.0 + box_off) + 0.4 + fixed_off_ohm

        def shown(ohm: float) -> float:
            return digit_ohm * round(ohm / digit_ohm)

        def read(ohm: float, at: float, off: float, lead: float) -> DialReading:
            clips = chance.uniform(-CLIPS_OHM, CLIPS_OHM) if ohm else 0.0
            return DialReading(
                setting_ohm=at,
                shown_ohm=(shown((ohm + lead + clips) * (1.0 + off)),),
                resolution_ohm=digit_ohm,
            )

        leads = read(0.0, 0.0, meter_off, lead_ohm)
        found = meter_against_box(
            read(true_ohm, setting, meter_off, lead_ohm), BOX_KNOWN, leads=leads, moved_relative=moved
        )
        error_ohm = found.shown_ohm - found.true_ohm
        u_ohm = combine(estimate=error_ohm, unit="Ω", lines=found.lines).expanded_u
        held_of_meter += abs(error_ohm - true_ohm * meter_off) <= u_ohm

        certified = chance.normal(0.0, 0.5e-4, size=5)
        known = Ohmmeter(
            points=tuple(
                CertifiedReading(shown_ohm=ohm, correction_ohm=0.0, expanded_u_ohm=1e-4 * ohm)
                for ohm in (1.0, 100.0, 10_000.0)
            ),
            k=2.0,
        )
        off = float(certified[0]) + chance.uniform(-moved, moved)
        given = box_against_meter(
            read(true_ohm, setting, off, lead_ohm),
            known,
            leads=read(0.0, 0.0, off, lead_ohm),
            moved_relative=moved,
        )
        u_ohm = combine(estimate=0.0, unit="Ω", lines=given.lines).expanded_u
        held_of_box += abs(given.true_ohm - true_ohm) <= u_ohm
    assert held_of_meter / draws >= LEAST_HELD
    assert held_of_box / draws >= LEAST_HELD


BOX_KNOWN = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={weight * decade: float(weight * decade) for decade in (1, 10, 100, 1000)
              for weight in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)  # fmt: skip
