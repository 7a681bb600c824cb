"""A judged plateau against a bench whose truth is known, drawn from what the budget says it does not know."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.bath.gradient import WANDER_BETWEEN_K, PlacedReading, gradient_from_swap
from calibration.bath.immersion import HEX_IN_AIR, HEX_UNDER_WATER, MeasuredStem
from calibration.bench_point import (
    PROBE_DISSIPATION_W_PER_K,
    SENDER_DISSIPATION_W_PER_K,
    BenchPointError,
    BenchSetup,
    Plateau,
    judge_plateau,
)
from calibration.conformity import DecisionRule
from calibration.curves import load_curve
from calibration.reference_probe import ReferenceProbe
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.excitation import Excitation
from calibration.resistance.ohms_check import BoxReading, correction_from_box, settings_for
from calibration.resistance.three_tap import ratio_count
from calibration.resistance.zero_power import DutyReading, zero_power
from calibration.thermistor.steinhart_hart import SteinhartHart

pytestmark = pytest.mark.slow

# Coefficients of a 10 kΩ probe: published 10K3 type (tests/calibration/published).
PROBE_CURVE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
PROBE = ReferenceProbe(curve=PROBE_CURVE, expanded_u_k=0.05, k=2.0, valid_from_c=0.0, valid_to_c=100.0)
BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)
AIR_C = 22.0
FIXED_SERIES_OHM = {2700.0: 102.0, 750.0: 119.0, 68.0: 102.0}
DUTY = 0.25


def correction(reference_ohm: float, box: DecadeBoxCertificate = BOX, *, part: float = 0.0):
    readings = [
        BoxReading(setting_ohm=s, count=ratio_count(box.true_ohm(s), reference_ohm * (1.0 + part)))
        for s in settings_for(reference_ohm, BOX)
    ]
    return correction_from_box(readings, reference_ohm=reference_ohm, certificate=BOX)


SETUP = BenchSetup(
    curve=load_curve("ntc-310-80c"),
    probe=PROBE,
    box=BOX,
    sender_corrections=(correction(2700.0), correction(750.0)),
    probe_correction=correction(2700.0),
    immersion=HEX_UNDER_WATER,
    gradient_half_width_k=0.06,
    source_v=1.0,
    fixed_series_ohm=FIXED_SERIES_OHM,
    duty=DUTY,
)


def flat_plateau(sender_ohm: float, probe_c: float, *, range_ohm: float = 750.0) -> Plateau:
    probe_ohm = PROBE_CURVE.resistance_ohm(probe_c)
    return Plateau(
        sender_count=(ratio_count(sender_ohm, range_ohm),) * 40,
        probe_count=(ratio_count(probe_ohm, 2700.0),) * 40,
        sender_range_ohm=range_ohm,
        slope_k_per_min=0.0,
        air_c=AIR_C,
    )


def heat_k(resistance_ohm: float, reference_ohm: float, dissipation_w_per_k: float) -> float:
    current_a = 1.0 / (FIXED_SERIES_OHM[reference_ohm] + reference_ohm + resistance_ohm)
    return current_a**2 * resistance_ohm * DUTY / dissipation_w_per_k


def test_two_witnesses_of_one_bath_give_the_sender_s_error_with_its_known_corrections_made() -> None:
    """80 °C, 310 Ω as printed: what is left is stem and self-heating, worked out by hand beside."""
    judged = judge_plateau(flat_plateau(310.0, 80.0), SETUP, rule=DecisionRule.GUARDED, limit_k=None)
    sender_heat = np.mean([heat_k(310.0, 750.0, d) for d in SENDER_DISSIPATION_W_PER_K])
    probe_ohm = PROBE_CURVE.resistance_ohm(80.0)
    probe_heat = np.mean([heat_k(probe_ohm, 2700.0, d) for d in PROBE_DISSIPATION_W_PER_K])
    stem = 0.5 * 0.003 * (80.0 - AIR_C)
    assert judged.probe_c == pytest.approx(80.0 - probe_heat, abs=1e-6)
    assert judged.point.error_k == pytest.approx(stem - sender_heat + probe_heat, abs=0.002)


def test_every_line_of_the_budget_adds_up_to_the_combined_uncertainty() -> None:
    judged = judge_plateau(flat_plateau(310.0, 80.0), SETUP, rule=DecisionRule.GUARDED, limit_k=None)
    budget = judged.point.budget
    total = math.sqrt(math.fsum(line.contribution**2 for line in budget.lines))
    assert budget.standard_u == pytest.approx(total, rel=1e-9)
    names = " ".join(line.quantity for line in budget.lines)
    for word in (
        "certificate",
        "ohms check",
        "stem",
        "gradient",
        "resolution",
        "repeatability",
        "self-heating",
    ):
        assert word in names


@pytest.mark.parametrize("set_point_c", [30.0, 60.0, 85.0])
def test_the_interval_contains_the_true_error_on_benches_drawn_from_what_the_budget_does_not_know(
    set_point_c: float,
) -> None:
    """300 benches: probe and box within their certificates, stem, heat, gradient and noise as they fall."""
    generator = np.random.default_rng(17)
    curve = SETUP.curve
    hits, tries = 0, 300
    for _ in range(tries):
        bath_c = set_point_c + generator.uniform(-0.5, 0.5)
        true_error_k = generator.uniform(-1.0, 1.0)
        # What the sender would have at the bath's temperature, isothermal and at zero power.
        wanted_c = bath_c + true_error_k
        reference = 2700.0 if set_point_c < 45.0 else 750.0
        dissipation = generator.uniform(*SENDER_DISSIPATION_W_PER_K)
        zero_power_ohm = curve.nominal.resistance_ohm(wanted_c)
        body_k = (
            generator.uniform(-0.06, 0.06)
            - generator.uniform(0.0, 0.003) * (bath_c - AIR_C)
            + heat_k(zero_power_ohm, reference, dissipation)
        )
        sender_ohm = curve.nominal.resistance_ohm(wanted_c + body_k)
        probe_k = generator.normal(0.0, 0.025) + heat_k(
            PROBE_CURVE.resistance_ohm(bath_c), 2700.0, generator.uniform(*PROBE_DISSIPATION_W_PER_K)
        )
        probe_ohm = PROBE_CURVE.resistance_ohm(bath_c + probe_k)
        scale = 1.0 + generator.normal(0.0, 5e-5)
        box = replace(BOX, step_ohm={n: v * scale for n, v in BOX.step_ohm.items()})
        setup = replace(
            SETUP,
            sender_corrections=(correction(reference, box, part=generator.uniform(-1e-3, 1e-3)),),
            probe_correction=correction(2700.0, box),
        )
        part = setup.sender_corrections[0]
        noise = generator.normal(0.0, 0.3, 160)
        plateau = Plateau(
            sender_count=tuple(_shown(part, sender_ohm / scale) + noise[:80]),
            probe_count=tuple(_shown(setup.probe_correction, probe_ohm / scale) + noise[80:]),
            sender_range_ohm=reference,
            slope_k_per_min=0.0,
            air_c=AIR_C,
        )
        judged = judge_plateau(plateau, setup, rule=DecisionRule.GUARDED, limit_k=None)
        hits += abs(judged.point.error_k - true_error_k) <= judged.point.expanded_u_k
    assert hits / tries >= 0.945


def _shown(correction_of_range, true_ohm: float) -> float:
    """Count at which a corrected range reads ``true_ohm``, found by bisection."""
    low, high = 1.0, 4095.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if correction_of_range.corrected_ohm(middle) < true_ohm:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def test_a_sender_with_its_hex_in_air_is_given_a_wider_uncertainty() -> None:
    under = judge_plateau(flat_plateau(310.0, 80.0), SETUP, rule=DecisionRule.GUARDED, limit_k=None)
    in_air = judge_plateau(
        flat_plateau(310.0, 80.0),
        replace(SETUP, immersion=HEX_IN_AIR),
        rule=DecisionRule.GUARDED,
        limit_k=None,
    )
    assert in_air.point.expanded_u_k > 2.0 * under.point.expanded_u_k


def test_a_plateau_on_a_range_that_was_not_checked_gives_no_result() -> None:
    with pytest.raises(BenchPointError, match="not checked"):
        judge_plateau(
            flat_plateau(310.0, 80.0, range_ohm=68.0), SETUP, rule=DecisionRule.GUARDED, limit_k=None
        )


def test_a_plateau_outside_the_probe_s_certificate_gives_no_result() -> None:
    short = replace(SETUP, probe=replace(PROBE, valid_to_c=70.0))
    with pytest.raises(BenchPointError, match="0 to 70 °C"):
        judge_plateau(flat_plateau(310.0, 80.0), short, rule=DecisionRule.GUARDED, limit_k=None)


def test_two_depths_a_swap_and_two_duties_take_the_place_of_what_was_assumed() -> None:
    """Each measured line stands in the budget with what was measured, and moves the error by its change."""
    stem = MeasuredStem(share=0.0010, half_width=0.0002, standard_u=0.0001, depth_mm=45.0)
    gradient = gradient_from_swap(
        PlacedReading(error_k=0.51, standard_u_k=0.004), PlacedReading(error_k=0.49, standard_u_k=0.003),
        temperature_c=80.0, air_c=AIR_C,
    )  # fmt: skip
    duty_readings = [
        DutyReading(
            resistance_ohm=310.0 - 0.9 * duty,
            standard_u_ohm=0.02,
            excitation=Excitation(source_v=1.0, series_ohm=869.0, duty=duty),
        )
        for duty in (0.2, 1.0)
    ]
    heating = zero_power(
        *duty_readings, sensitivity_k_per_ohm=SETUP.curve.sensitivity_k_per_ohm(310.0), covariance_ohm2=0.0003
    )
    measured = replace(
        SETUP,
        measured_stem=stem,
        measured_gradient=gradient,
        sender_zero_power=heating,
        gradient_half_width_k=0.3,
    )
    assumed = judge_plateau(flat_plateau(310.0, 80.0), SETUP, rule=DecisionRule.GUARDED, limit_k=None)
    judged = judge_plateau(flat_plateau(310.0, 80.0), measured, rule=DecisionRule.GUARDED, limit_k=None)
    lines = {line.quantity: line for line in judged.point.budget.lines}
    gradient_line = lines["bath: gradient, by changing places"]
    assert gradient_line.estimate == pytest.approx(-0.01, abs=1e-4)  # four standard uncertainties: found
    open_k = 2.0 * math.hypot(0.0025, WANDER_BETWEEN_K / math.sqrt(3.0))
    assert gradient_line.standard_u == pytest.approx(open_k / math.sqrt(3.0), rel=0.01)
    assert lines["sender: stem, by two depths"].standard_u == pytest.approx(
        (judged.probe_c - AIR_C) * math.hypot(0.0002 / math.sqrt(3.0), 0.0001)
    )
    power_w = (1.0 / (869.0 + 310.0)) ** 2 * 310.0 * DUTY
    warmth_k = heating.conductance_k_per_w * power_w
    assert lines["sender: self-heating, by two currents"].estimate == pytest.approx(-warmth_k, rel=1e-6)
    assumed_warmth_k = np.mean([heat_k(310.0, 750.0, d) for d in SENDER_DISSIPATION_W_PER_K])
    moved_k = -0.01 + (0.0010 - 0.0015) * (judged.probe_c - AIR_C) - (warmth_k - assumed_warmth_k)
    assert judged.point.error_k - assumed.point.error_k == pytest.approx(moved_k, abs=0.002)
    assert judged.point.expanded_u_k < assumed.point.expanded_u_k


def test_a_plateau_too_short_for_its_wander_is_refused_with_what_to_do() -> None:
    """A ramp of 0.4 K between sender and probe within the minute: no mean of it is the bath's."""
    curve = load_curve("ntc-310-80c").nominal
    ramp_k = np.linspace(-0.2, 0.2, 240) + np.random.default_rng(3).normal(0.0, 0.004, 240)
    plateau = Plateau(
        sender_count=tuple(ratio_count(curve.resistance_ohm(60.0 + float(away)), 750.0) for away in ramp_k),
        probe_count=(ratio_count(PROBE_CURVE.resistance_ohm(60.0), 2700.0),) * 240,
        sender_range_ohm=750.0,
        slope_k_per_min=0.0,
        air_c=AIR_C,
    )
    with pytest.raises(BenchPointError, match="Hold the plateau longer"):
        judge_plateau(plateau, SETUP, rule=DecisionRule.GUARDED, limit_k=None)
