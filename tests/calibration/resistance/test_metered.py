"""A resistance read with a meter that has a certificate."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.resistance.metered import CLIPS_OHM, LEADS_NOT_READ_OHM, metered
from calibration.resistance.ohmmeter import CertifiedReading, Ohmmeter, OhmmeterError
from calibration.uncertainty.budget import combine

OHMS = (100.0, 300.0, 1000.0, 3000.0, 10_000.0)


def meter(gain: float = 1.0, *, relative_u: float = 1e-4) -> Ohmmeter:
    """A meter that shows `gain` times the truth, and whose certificate says so."""
    return Ohmmeter(
        points=tuple(
            CertifiedReading(
                shown_ohm=gain * ohm,
                correction_ohm=ohm - gain * ohm,
                expanded_u_ohm=2.0 * relative_u * ohm,
            )
            for ohm in OHMS
        ),
        k=2.0,
    )


@given(true_ohm=st.floats(105.0, 9500.0), gain=st.floats(0.97, 1.03))
def test_the_certificate_takes_a_meters_gain_off_again(true_ohm, gain):
    read = metered(gain * true_ohm + 0.15, meter(gain), last_digit_ohm=0.01, leads_ohm=0.15)
    assert read.resistance_ohm == pytest.approx(true_ohm, rel=1e-9)


def test_the_last_digit_counts_as_the_guide_prints_it():
    """JCGM 100:2008, F.2.2.1: an indication with a last digit of δx has u = 0.29 δx."""
    [line] = [
        line
        for line in metered(604.0, meter(), last_digit_ohm=1.0, leads_ohm=0.0).lines
        if line.quantity == "last digit of the meter"
    ]
    assert line.standard_u == pytest.approx(0.29, abs=0.005)


def test_the_lines_add_up_to_the_certificate_the_digit_and_the_clips():
    """By hand: 1e-4 of 604 Ω, half a digit and 0.05 Ω over the root of three."""
    read = metered(604.2, meter(), last_digit_ohm=0.1, leads_ohm=0.2)
    by_hand = math.sqrt(0.0604**2 + 0.05**2 / 3.0 + CLIPS_OHM**2 / 3.0)
    assert read.standard_u_ohm == pytest.approx(by_hand, rel=1e-3)


def test_leads_that_nobody_looked_at_are_not_taken_off_and_cost_more():
    looked = metered(604.0, meter(), last_digit_ohm=0.1, leads_ohm=0.0)
    not_looked = metered(604.0, meter(), last_digit_ohm=0.1, leads_ohm=None)
    assert not_looked.resistance_ohm == looked.resistance_ohm
    assert not_looked.standard_u_ohm > looked.standard_u_ohm
    assert not_looked.lines[-1].standard_u == pytest.approx(LEADS_NOT_READ_OHM / math.sqrt(3.0))


@pytest.mark.parametrize("shown_ohm", [99.0, 10_100.0])
def test_what_the_certificate_does_not_cover_is_refused(shown_ohm):
    with pytest.raises(OhmmeterError, match="covers 100 to 10000 Ω"):
        metered(shown_ohm, meter(), last_digit_ohm=0.1, leads_ohm=0.0)


def test_the_intervals_of_meters_drawn_within_their_certificates_hold_the_truth():
    """4,000 meters, each off its certificate by what that certificate allows, its leads read or not."""
    random = np.random.default_rng(1)
    held = {None: 0, "read": 0}
    for _ in range(2000):
        for leads in held:
            true_ohm = math.exp(random.uniform(math.log(110.0), math.log(9000.0)))
            gain, leads_ohm = random.uniform(0.98, 1.02), random.uniform(0.0, LEADS_NOT_READ_OHM)
            certified = meter(gain * (1.0 + random.normal(0.0, 2e-4)), relative_u=2e-4)
            shown_ohm = round(gain * (true_ohm + leads_ohm), 1)
            joined_ohm = (
                None if leads is None else round(leads_ohm + random.uniform(-CLIPS_OHM, CLIPS_OHM), 2)
            )
            read = metered(shown_ohm, certified, last_digit_ohm=0.1, leads_ohm=joined_ohm)
            budget = combine(estimate=read.resistance_ohm, unit="Ω", lines=read.lines)
            held[leads] += abs(read.resistance_ohm - true_ohm) <= budget.expanded_u
    assert all(count / 2000 >= 0.945 for count in held.values()), held


def test_every_line_speaks_of_what_it_is_for_by_the_sensitivity_that_was_given():
    """JCGM 100, 5.1.3: a contribution is |c| u. Of a kelvin for each -10 Ω, a tenth of each in ohms."""
    ohm = metered(604.2, meter(), last_digit_ohm=0.1, leads_ohm=0.2)
    kelvin = metered(604.2, meter(), last_digit_ohm=0.1, leads_ohm=0.2, per_ohm=-0.1)
    for of_ohm, of_kelvin in zip(ohm.lines, kelvin.lines, strict=True):
        assert abs(of_kelvin.contribution) == pytest.approx(0.1 * abs(of_ohm.contribution))
        assert of_ohm.contribution != 0.0
