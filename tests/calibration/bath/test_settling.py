"""Settled or not, on a bath that approaches its temperature exponentially."""

import math

import numpy as np
import pytest

from calibration.bath.settling import SETTLING_WINDOW_S, SLOPE_LIMIT_K_PER_MIN, settling


def approach(tau_s: float, from_s: float, *, size_k: float = 5.0, noise_k: float = 0.0) -> tuple[list, list]:
    """Readings of one settling window of an exponential approach to 60 °C, at 4 Hz."""
    times = from_s + np.arange(0.0, SETTLING_WINDOW_S, 0.25)
    noise = noise_k * np.random.default_rng(2).standard_normal(times.size)
    return list(times), list(60.0 - size_k * np.exp(-times / tau_s) + noise)


def test_a_steady_bath_with_a_little_noise_has_settled() -> None:
    assert settling(*approach(30.0, 1000.0, noise_k=0.01)).settled


def test_a_bath_that_still_climbs_has_not() -> None:
    state = settling(*approach(60.0, 30.0))
    assert state.full and not state.settled
    assert state.slope_k_per_min > SLOPE_LIMIT_K_PER_MIN


def test_a_steady_mean_with_a_wild_scatter_has_not() -> None:
    assert not settling(*approach(30.0, 1000.0, noise_k=0.5)).settled


def test_half_a_window_is_not_enough() -> None:
    times, values = approach(30.0, 1000.0)
    assert not settling(times[:80], values[:80]).settled


@pytest.mark.parametrize("tau_s", [30.0, 60.0])
def test_the_estimated_wait_is_right_to_a_fifth_on_an_exponential(tau_s: float) -> None:
    state = settling(*approach(tau_s, 60.0))
    limit_k_per_s = SLOPE_LIMIT_K_PER_MIN / 60.0
    reached_s = tau_s * math.log(5.0 / tau_s / limit_k_per_s)  # slope of 5 exp(-t/tau) at its limit
    now_s = 60.0 + SETTLING_WINDOW_S
    assert state.wait_s == pytest.approx(reached_s - now_s + SETTLING_WINDOW_S, rel=0.35)
