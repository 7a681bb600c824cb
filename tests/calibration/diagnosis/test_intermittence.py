import math

import numpy as np
import pytest

from calibration.diagnosis import Fault
from calibration.diagnosis.intermittence import SHORTEST_BURST, intermittence


def steady(seed=1, count=150, noise=2e-4, drift_per_reading=-2e-4):
    """Three seconds of a sender that cools a little: 300 Ω, converter noise, 1 % drift a second."""
    chance = np.random.default_rng(seed)
    return (
        300.0 * np.exp(drift_per_reading * np.arange(count)) * (1.0 + noise * chance.standard_normal(count))
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_steady_contact_is_steady_though_the_sender_cools(seed):
    found = intermittence(steady(seed))
    assert (found.fault, found.jumps, found.open_share) == (Fault.HEALTHY, 0, 0.0)


@pytest.mark.parametrize("seed", range(5))
def test_a_contact_that_opens_for_three_readings_is_found(seed):
    burst = steady(seed)
    burst[40:43] = math.inf
    found = intermittence(burst)
    assert found.fault is Fault.INTERMITTENT
    assert (found.jumps, found.open_share) == (2, pytest.approx(3 / 150))
    assert math.isinf(found.largest_ohm)
    assert "connector" in found.next_action


@pytest.mark.parametrize("share", [0.1, 0.4, 0.5, 0.6, 0.9])
@pytest.mark.parametrize("seed", range(6))
def test_a_contact_that_opens_at_random_is_found_however_often_it_does(share, seed):
    """Opening at half of the readings, half of the steps are as large as a step can be: they are no noise."""
    chance = np.random.default_rng(seed)
    ohm = 300.0 * (1.0 + 5e-4 * chance.standard_normal(250))
    ohm[chance.random(250) < share] = math.inf
    assert intermittence(ohm.tolist()).fault is Fault.INTERMITTENT


def test_a_contact_that_adds_six_ohms_for_a_while_is_found():
    burst = steady()
    burst[70:90] += 6.0
    found = intermittence(burst)
    assert (found.fault, found.jumps) == (Fault.INTERMITTENT, 2)
    assert 4.0 < found.largest_ohm < 12.0


def test_a_noisy_lead_is_not_taken_for_a_loose_contact():
    assert intermittence(steady(noise=3e-3)).fault is not Fault.INTERMITTENT


def test_a_knock_of_a_few_tenths_of_a_per_cent_is_no_contact():
    burst = steady()
    burst[60:] *= 1.003
    assert intermittence(burst).fault is not Fault.INTERMITTENT


def test_a_circuit_that_is_open_throughout_is_open():
    found = intermittence([math.inf] * 50)
    assert (found.fault, found.open_share, found.largest_ohm) == (Fault.OPEN, 1.0, 0.0)


def test_neither_the_scale_of_ohms_nor_the_direction_of_time_matters():
    burst = steady()
    burst[40:43] *= 1.2
    assert intermittence(100.0 * burst).weight == pytest.approx(intermittence(burst).weight, rel=1e-9)
    assert intermittence(burst[::-1]).weight == pytest.approx(intermittence(burst).weight, rel=1e-6)


def test_too_short_a_burst_and_a_reading_that_is_none_are_refused():
    with pytest.raises(ValueError, match=str(SHORTEST_BURST)):
        intermittence([300.0] * (SHORTEST_BURST - 1))
    with pytest.raises(ValueError, match="no resistance"):
        intermittence([*([300.0] * 30), 0.0])
