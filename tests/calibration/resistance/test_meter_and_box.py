"""A meter on a decade box, either way round, against a published worked example and against known truths."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.resistance.covering_uncertainty import (
    StepUncertainty,
    covering_uncertainty,
    setting_standard_u_ohm,
)
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.meter_and_box import DialReading, box_against_meter, meter_against_box
from calibration.resistance.ohmmeter import CertifiedReading, Ohmmeter, OhmmeterError
from calibration.uncertainty.budget import CoverageRule, combine

BINARY = (1, 2, 4, 8)
DIALS = (1, 10, 100, 1000)


def box(*, digits=BINARY, off=0.0, residual_ohm=0.0, relative=0.0, fixed_ohm=0.0) -> DecadeBoxCertificate:
    return DecadeBoxCertificate(
        residual_ohm=residual_ohm,
        step_ohm={digit * dial: digit * dial * (1.0 + off) for dial in DIALS for digit in digits},
        expanded_u_relative=relative,
        expanded_u_ohm=fixed_ohm,
        k=2.0,
    )


def reading(setting_ohm, *shown_ohm, digit=0.001) -> DialReading:
    return DialReading(setting_ohm=setting_ohm, shown_ohm=shown_ohm, resolution_ohm=digit)


def test_a_meter_is_found_as_the_published_example_of_a_hand_held_multimeter_has_it():
    """EA-4/02, supplement, example S9: a hand-held multimeter at 100 V DC; the same algebra in another unit.

    Indication 100.1 with a last digit of 0.1; source 100.0 with U = 0.002 (k = 2) and ±0.011 for drift,
    offset and loading. Printed: E = 0.1, u(E) = 0.030, k = 1.65 as the rectangle rules, U = 0.05.
    """
    compared = meter_against_box(
        reading(100, 100.1, digit=0.1),
        box(fixed_ohm=0.002),
        leads=None,
        moved_relative=0.011 / 100.0,
    )
    budget = combine(
        estimate=compared.shown_ohm - compared.true_ohm,
        unit="Ω",
        lines=compared.lines,
        coverage=CoverageRule.DOMINANT,
    )
    assert budget.estimate == pytest.approx(0.1, abs=1e-9)
    assert budget.standard_u == pytest.approx(0.030, abs=0.0005)
    assert budget.k == pytest.approx(1.65, abs=0.005)
    assert budget.expanded_u == pytest.approx(0.05, abs=0.005)
    # Student's k, as our certificates take it, claims no less.
    assert combine(estimate=0.1, unit="Ω", lines=compared.lines).expanded_u >= budget.expanded_u


def test_a_resistor_is_found_as_the_published_example_of_ten_kilohms_has_it():
    """EA-4/02, supplement, example S3: 10 kΩ by substitution with a digital multimeter in four wires.

    The standard, 10 000.053 Ω (U = 5 mΩ, k = 2), 20 mΩ drifted (±10 mΩ) and ±2.75 mΩ by its temperature, was
    read just before: it is the meter's certificate here. The unknown's own temperature is ±5.5 mΩ; what the
    meter adds by leakage and the like is triangular, ±1e-6, taken as a last digit of the same standard
    uncertainty. Printed: R = 10 000.178 Ω, u = 8.33 mΩ, U = 17 mΩ, k = 2.00. The five ratios are from memory;
    their mean and its u (0.07e-6) are in the table.
    """
    u_standard_ohm = math.sqrt(0.0025**2 + (0.010**2 + 0.00275**2) / 3.0)
    at_ten_kilohms = Ohmmeter(
        points=tuple(
            CertifiedReading(shown_ohm=ohm, correction_ohm=0.073, expanded_u_ohm=2.0 * u_standard_ohm)
            for ohm in (9_999.0, 10_001.0)
        ),
        k=2.0,
    )
    ratios = (1.0000104, 1.0000107, 1.0000106, 1.0000103, 1.0000105)
    compared = box_against_meter(
        DialReading(
            setting_ohm=10_000.0,
            shown_ohm=tuple(10_000.0 * ratio for ratio in ratios),
            resolution_ohm=2.0 * math.sqrt(3.0) * 1e-6 / math.sqrt(6.0) * 10_000.0,
        ),
        at_ten_kilohms,
        leads=None,
        moved_relative=0.0055 / 10_000.0,
    )
    budget = combine(estimate=0.0, unit="Ω", lines=compared.lines)
    assert compared.true_ohm == pytest.approx(10_000.178, abs=0.0005)
    assert budget.standard_u == pytest.approx(8.33e-3, rel=0.005)
    assert budget.k == pytest.approx(2.00, abs=0.005)
    assert budget.expanded_u == pytest.approx(0.017, abs=0.0005)


def meter(off: float = 0.0, relative: float = 1e-5) -> Ohmmeter:
    """A meter that shows too much by a share, and its certificate that says so."""
    return Ohmmeter(
        points=tuple(
            CertifiedReading(
                shown_ohm=ohm * (1.0 + off), correction_ohm=-ohm * off, expanded_u_ohm=ohm * relative
            )
            for ohm in (1.0, 10.0, 100.0, 1_000.0, 10_000.0)
        ),
        k=2.0,
    )


@pytest.mark.slow
@given(
    off=st.floats(-0.003, 0.003),
    meter_off=st.floats(-0.003, 0.003),
    lead_ohm=st.floats(0.0, 0.5),
    setting=st.sampled_from([digit * dial for dial in DIALS for digit in BINARY]),
)
def test_both_ways_round_find_what_each_is_off_by(off, meter_off, lead_ohm, setting):
    true_ohm = setting * (1.0 + off) + 0.2
    shown_ohm = (true_ohm + lead_ohm) * (1.0 + meter_off)
    leads = reading(0, lead_ohm)
    as_box = box_against_meter(reading(setting, shown_ohm), meter(meter_off), leads=leads)
    u_ohm = combine(estimate=0.0, unit="Ω", lines=as_box.lines).expanded_u
    # The leads are joined near zero, where the meter is not corrected: off by its share of half an ohm.
    assert as_box.true_ohm == pytest.approx(true_ohm, abs=u_ohm)
    as_meter = meter_against_box(reading(setting, shown_ohm), box(off=off, residual_ohm=0.2), leads=leads)
    error_ohm = as_meter.shown_ohm - as_meter.true_ohm
    assert error_ohm == pytest.approx((true_ohm + lead_ohm) * meter_off, abs=1e-8)


def test_a_display_that_is_read_again_shows_its_scatter_and_keeps_its_digit():
    once = meter_against_box(reading(1000, 1000.2, digit=0.1), box(fixed_ohm=0.03), leads=None)
    often = meter_against_box(
        reading(1000, 1000.1, 1000.2, 1000.3, digit=0.1), box(fixed_ohm=0.03), leads=None
    )
    lines = {line.quantity: line for line in often.lines}
    assert "repeatability" not in {line.quantity for line in once.lines}
    assert lines["repeatability"].standard_u == pytest.approx(0.1 / math.sqrt(3.0))
    assert lines["repeatability"].degrees_of_freedom == 2.0
    assert lines["last digit of the meter"].standard_u == pytest.approx(0.05 / math.sqrt(3.0))


def test_a_meter_is_trusted_between_its_points_and_not_beyond():
    crooked = Ohmmeter(
        points=(
            CertifiedReading(shown_ohm=100.0, correction_ohm=0.0, expanded_u_ohm=0.01),
            CertifiedReading(shown_ohm=1000.0, correction_ohm=1.0, expanded_u_ohm=0.2),
        ),
        k=2.0,
    )
    middle = crooked.correction_at(math.sqrt(100.0 * 1000.0))
    assert middle.correction_ohm == pytest.approx(0.0005 * math.sqrt(1e5))
    # The relative step of 0.1 % may bend by a quarter of it: a rectangle of 0.025 %.
    at_least = 0.00025 / math.sqrt(3.0) * math.sqrt(1e5)
    assert middle.standard_u_ohm > at_least
    assert crooked.correction_at(1000.0).standard_u_ohm == pytest.approx(0.1)
    with pytest.raises(OhmmeterError, match="covers 100 to 1000 Ω, and 5000 Ω is outside"):
        crooked.correction_at(5000.0)


def test_a_dial_with_a_resistor_for_each_position_is_no_sum_of_others():
    steps = {digit * dial: float(digit * dial) for dial in DIALS for digit in range(1, 10)}
    steps[7] = 7.05
    rotary = DecadeBoxCertificate(
        residual_ohm=0.0, step_ohm=steps, expanded_u_relative=1e-4, expanded_u_ohm=0.0, k=2.0
    )
    assert rotary.steps_of(4307) == (7, 300, 4000)
    assert rotary.true_ohm(4307) == pytest.approx(4307.05)
    assert box().steps_of(4307) == (4, 2, 1, 200, 100, 4000)
    assert rotary.highest_ohm == 9999


@pytest.mark.slow
@given(
    reading_u=st.lists(st.floats(1e-4, 0.05), min_size=36, max_size=36),
    relative=st.floats(1e-6, 1e-3),
    zero_u=st.floats(0.0, 0.05),
    leads_u=st.floats(0.0, 0.05),
    setting=st.integers(0, 9999),
    is_rotary=st.booleans(),
)
def test_the_box_in_the_register_claims_no_less_than_its_steps_together(
    reading_u, relative, zero_u, leads_u, setting, is_rotary
):
    digits = tuple(range(1, 10)) if is_rotary else BINARY
    nominal = [digit * dial for dial in DIALS for digit in digits]
    steps = {
        ohm: StepUncertainty(reference_ohm=relative * ohm + 1e-4, reading_ohm=u)
        for ohm, u in zip(nominal, reading_u, strict=False)
    }
    zero = StepUncertainty(reference_ohm=1e-4, reading_ohm=zero_u)
    stated_relative, stated_fixed = covering_uncertainty(steps, zero, leads_u_ohm=leads_u)
    used = [steps[step] for step in box(digits=digits).steps_of(setting)] or [zero]
    together = 2.0 * setting_standard_u_ohm(used, zero, leads_u_ohm=leads_u)
    stated = math.hypot(stated_relative * setting, stated_fixed)
    assert stated >= together * (1.0 - 1e-9)


def test_a_box_read_in_two_wires_is_known_to_a_fifth_of_an_ohm_at_its_low_dials():
    # Clips within ±0.02 Ω at each reading; the worst setting, 7777, has twelve steps and eleven zeros.
    alone_ohm = 0.02 / math.sqrt(3.0)
    steps = {
        digit * dial: StepUncertainty(reference_ohm=2e-5 * digit * dial, reading_ohm=alone_ohm)
        for dial in DIALS
        for digit in BINARY
    }
    relative, fixed_ohm = covering_uncertainty(
        steps, StepUncertainty(reference_ohm=1e-5, reading_ohm=alone_ohm)
    )
    assert 4e-5 < relative < 2e-4
    assert 0.05 < fixed_ohm < 0.2
    worst_ohm = 2.0 * math.hypot(2e-5 * 7777, alone_ohm * math.sqrt(12.0 + 11.0**2))
    assert worst_ohm <= math.hypot(relative * 7777, fixed_ohm) < 5.0 * worst_ohm


def test_what_steps_share_adds_up_and_what_each_reading_has_adds_in_squares():
    """JCGM 100, 5.2.2 note 1 (one common error: a plain sum) and 5.1.2 (errors apart: in squares)."""
    steps = [
        StepUncertainty(reference_ohm=0.3, reading_ohm=0.1),
        StepUncertainty(reference_ohm=0.4, reading_ohm=0.2),
    ]
    zero = StepUncertainty(reference_ohm=0.05, reading_ohm=0.02)
    # One zero too many is taken off two steps: (0.3 + 0.4 + 0.05)² + 0.1² + 0.2² + 0.02² + 0.06²
    assert setting_standard_u_ohm(steps, zero, leads_u_ohm=0.06) == pytest.approx(math.sqrt(0.6165))
