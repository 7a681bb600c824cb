"""Plateaus judged with stem, gradient and dissipation measured, on benches the budget knows nothing of."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.bath.gradient import WANDER_BETWEEN_K, PlacedReading, gradient_from_swap
from calibration.bath.immersion import (
    DECAY_MM,
    HEX_UNDER_WATER,
    DepthReading,
    MeasuredStem,
    stem_from_two_depths,
)
from calibration.bench_point import BenchSetup, Plateau, judge_plateau
from calibration.conformity import DecisionRule
from calibration.curves import load_curve
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.excitation import Excitation
from calibration.resistance.ohms_check import BoxReading, correction_from_box, settings_for
from calibration.resistance.three_tap import ratio_count
from calibration.resistance.zero_power import DutyReading, zero_power
from calibration.thermistor.steinhart_hart import SteinhartHart

CURVE = load_curve("ntc-310-80c")
PROBE_CURVE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)  # published 10K3 type
BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)
SERIES_OHM, DUTY, AIR_C, HOTTEST_C = 750.0 + 119.0, 0.25, 22.0, 88.0
SCATTER_K = 0.004


def checked(reference_ohm: float):
    readings = [
        BoxReading(setting_ohm=s, count=ratio_count(BOX.true_ohm(s), reference_ohm))
        for s in settings_for(reference_ohm, BOX)
    ]
    return correction_from_box(readings, reference_ohm=reference_ohm, certificate=BOX)


ASSUMED = BenchSetup(
    curve=CURVE,
    probe=ReferenceProbe(curve=PROBE_CURVE, expanded_u_k=0.03, k=2.0, valid_from_c=0.0, valid_to_c=100.0),
    box=BOX,
    sender_corrections=(checked(750.0),),
    probe_correction=checked(2700.0),
    immersion=HEX_UNDER_WATER,
    gradient_half_width_k=0.06,
    source_v=1.0,
    fixed_series_ohm={750.0: 119.0, 2700.0: 102.0},
    duty=DUTY,
)


def excitation(duty: float) -> Excitation:
    return Excitation(source_v=1.0, series_ohm=SERIES_OHM, duty=duty)


class Bench:
    """A sender and a bath with a stem that fades with depth, a gradient, and a dissipation factor."""

    def __init__(self, chance: np.random.Generator) -> None:
        self.chance = chance
        self.error_k = chance.uniform(-1.0, 1.0)
        self.share = chance.uniform(0.0, 0.0025)
        self.decay_mm = chance.uniform(*DECAY_MM)
        self.gradient_k = chance.uniform(-0.03, 0.03)
        self.dissipation = chance.uniform(0.005, 0.020)

    def sender_ohm(
        self, bath_c: float, *, depth_mm: float = 45.0, duty: float = DUTY, place: int = 1
    ) -> float:
        """What the sender has; the bath is the probe's place."""
        wanted_c = bath_c + self.error_k
        stem_k = self.share * math.exp(-(depth_mm - 45.0) / self.decay_mm) * (bath_c - AIR_C)
        heat_k = excitation(duty).mean_power_w(CURVE.nominal.resistance_ohm(wanted_c)) / self.dissipation
        scatter_k = self.chance.normal(0.0, SCATTER_K)
        return CURVE.nominal.resistance_ohm(wanted_c - stem_k + heat_k + place * self.gradient_k + scatter_k)

    def indicated_error_k(self, **how: float) -> float:
        return CURVE.indicated_c(self.sender_ohm(HOTTEST_C, **how), at_c=HOTTEST_C) - HOTTEST_C

    def measured(self) -> BenchSetup:
        """The bench's setup with everything measured at the hottest plateau."""
        u_k = SCATTER_K
        stem = stem_from_two_depths(
            DepthReading(depth_mm=31.0, error_k=self.indicated_error_k(depth_mm=31.0), standard_u_k=u_k),
            DepthReading(depth_mm=45.0, error_k=self.indicated_error_k(), standard_u_k=u_k),
            temperature_c=HOTTEST_C,
            air_c=AIR_C,
        )
        gradient = gradient_from_swap(
            PlacedReading(error_k=self.indicated_error_k(), standard_u_k=u_k),
            PlacedReading(error_k=self.indicated_error_k(place=-1), standard_u_k=u_k),
            temperature_c=HOTTEST_C,
            air_c=AIR_C,
        )
        slope = CURVE.sensitivity_k_per_ohm(230.0)
        heating = zero_power(
            *(
                DutyReading(
                    resistance_ohm=self.sender_ohm(HOTTEST_C, duty=duty),
                    standard_u_ohm=u_k / abs(slope),
                    excitation=excitation(duty),
                )
                for duty in (0.2, 1.0)
            ),
            sensitivity_k_per_ohm=slope,
        )
        return replace(ASSUMED, measured_stem=stem, measured_gradient=gradient, sender_zero_power=heating)

    def plateau(self, bath_c: float) -> Plateau:
        noise_c = self.chance.normal(0.0, 0.3, 60)
        sender_ohm, probe_ohm = self.sender_ohm(bath_c), self.probe_ohm(bath_c)
        return Plateau(
            sender_count=tuple(ratio_count(sender_ohm, 750.0) + noise_c[:30]),
            probe_count=tuple(ratio_count(probe_ohm, 2700.0) + noise_c[30:]),
            sender_range_ohm=750.0,
            slope_k_per_min=0.0,
            air_c=AIR_C,
        )

    def probe_ohm(self, bath_c: float) -> float:
        """The probe within its certificate, warmed by its own current."""
        ohm = PROBE_CURVE.resistance_ohm(bath_c)
        power_w = Excitation(source_v=1.0, series_ohm=2802.0, duty=DUTY).mean_power_w(ohm)
        off_k = self.chance.normal(0.0, 0.015) + power_w / self.chance.uniform(0.004, 0.015)
        return PROBE_CURVE.resistance_ohm(bath_c + off_k)


def test_a_stem_is_cut_to_what_the_immersion_allows_and_stands_alone_beyond_it() -> None:
    stem = MeasuredStem(share=0.0020, half_width=0.0018, standard_u=0.0004, depth_mm=45.0)
    cut = stem.within(HEX_UNDER_WATER)  # 0.02 to 0.38 % and 0 to 0.3 %
    assert (cut.share, cut.half_width) == (pytest.approx(0.0016), pytest.approx(0.0014))
    assert cut.standard_u == stem.standard_u
    beyond = replace(stem, share=0.0080)
    assert beyond.within(HEX_UNDER_WATER) is beyond


@pytest.mark.slow
def test_a_stem_that_is_cut_still_contains_the_truth_for_every_sender_within_the_span() -> None:
    """Shares of the whole span, decay of the whole span, and water that wanders between the two readings."""
    chance = np.random.default_rng(5)
    u_k = math.hypot(SCATTER_K, WANDER_BETWEEN_K / math.sqrt(3.0))
    hits, spread = [], []
    for _ in range(2000):
        share, decay_mm = chance.uniform(0.0, 0.003), chance.uniform(*DECAY_MM)
        span_k = HOTTEST_C - AIR_C
        lost_k = [share * math.exp(out_mm / decay_mm) * span_k for out_mm in (0.0, 15.0)]
        deep_k, shallow_k = (-lost + chance.normal(0.0, u_k) for lost in lost_k)
        stem = stem_from_two_depths(
            DepthReading(depth_mm=30.0, error_k=shallow_k, standard_u_k=u_k),
            DepthReading(depth_mm=45.0, error_k=deep_k, standard_u_k=u_k),
            temperature_c=HOTTEST_C,
            air_c=AIR_C,
        ).within(HEX_UNDER_WATER)
        off_k = stem.correction_k(HOTTEST_C, AIR_C) - share * span_k
        hits.append(abs(off_k) <= 2.0 * stem.standard_u_k(HOTTEST_C, AIR_C))
        spread.append(stem.standard_u_k(HOTTEST_C, AIR_C))
    assert np.mean(hits) >= 0.945
    assert np.mean(spread) < HEX_UNDER_WATER.standard_u_k(HOTTEST_C, AIR_C)


@pytest.mark.slow
@pytest.mark.parametrize("bath_c", [60.0, 88.0])
def test_with_everything_measured_the_interval_still_contains_the_truth_and_is_narrower(
    bath_c: float,
) -> None:
    chance = np.random.default_rng(23)
    hits, expanded_u_k = [], []
    for _ in range(250):
        bench = Bench(chance)
        judged = judge_plateau(
            bench.plateau(bath_c), bench.measured(), rule=DecisionRule.GUARDED, limit_k=None
        )
        hits.append(abs(judged.point.error_k - bench.error_k) <= judged.point.expanded_u_k)
        expanded_u_k.append(judged.point.expanded_u_k)
    assumed = judge_plateau(Bench(chance).plateau(bath_c), ASSUMED, rule=DecisionRule.GUARDED, limit_k=None)
    assert np.mean(hits) >= 0.945
    assert np.median(expanded_u_k) < 0.95 * assumed.point.expanded_u_k
