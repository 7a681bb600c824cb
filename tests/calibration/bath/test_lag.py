"""Sender from probe, against solutions of the lag equation written down by hand."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from calibration.bath.lag import SLOW_FACTOR, Lags, followed

LAGS = Lags(sender_s=15.0, probe_s=4.0, slope_per_k=-0.005, slow_share=0.05)


def heated(time_s: np.ndarray) -> np.ndarray:
    return 25.0 + np.interp(time_s, [0.0, 100.0, 300.0, 400.0, 700.0, 1000.0], [0, 0, 20, 22, 60, 62])


def test_on_a_long_ramp_the_sender_stands_behind_the_probe_by_the_difference_of_lags() -> None:
    """A body behind a ramp of rate r lags it by r times its lag, once the start has died away."""
    time_s = np.arange(0.0, 400.0)
    probe_c = 25.0 + 0.1 * time_s
    lags = Lags(sender_s=15.0, probe_s=4.0, slope_per_k=0.0)
    behind_k = probe_c[-1] - followed(time_s, probe_c, lags).sender_c[-1]
    assert behind_k == pytest.approx(0.1 * (15.0 - 4.0), abs=1e-9)


def test_a_slow_part_adds_to_the_lag_on_a_ramp() -> None:
    time_s = np.arange(0.0, 600.0)
    probe_c = 25.0 + 0.1 * time_s
    lags = Lags(sender_s=10.0, probe_s=4.0, slope_per_k=0.0, slow_share=0.1)
    behind_k = probe_c[-1] - followed(time_s, probe_c, lags).sender_c[-1]
    assert behind_k == pytest.approx(0.1 * (0.9 * 10.0 + 0.1 * SLOW_FACTOR * 10.0 - 4.0), abs=1e-6)


def test_a_sender_dipped_into_warmer_water_approaches_it_exponentially() -> None:
    time_s = np.arange(0.0, 60.0)
    found = followed(time_s, np.full(time_s.size, 60.0), Lags(sender_s=12.0, probe_s=4.0, slope_per_k=0.0))
    assert found.sender_c == pytest.approx(60.0)
    assert found.by_start == pytest.approx(np.exp(-time_s / 12.0))


def test_the_sender_is_what_an_integrator_of_differential_equations_makes_of_the_bath() -> None:
    """Bath, probe and sender by scipy's integrator; the sender once more from the probe alone."""
    lags = Lags(sender_s=20.0, probe_s=5.0, slope_per_k=-0.004)

    def rates(now_s: float, state: np.ndarray) -> list[float]:
        bath_c = 25.0 + 30.0 * (1.0 - math.cos(now_s / 150.0))
        share = float(lags.share(bath_c))
        return [(bath_c - state[0]) / (lags.probe_s * share), (bath_c - state[1]) / (lags.sender_s * share)]

    time_s = np.arange(0.0, 600.0)
    solved = solve_ivp(rates, (0.0, 600.0), [25.0, 25.0], t_eval=time_s, rtol=1e-9, atol=1e-9)
    probe_c, sender_c = solved.y
    # What is left is the probe's curve between readings, and lags taken at the probe's temperature.
    assert followed(time_s, probe_c, lags).sender_c == pytest.approx(sender_c, abs=0.02)


@pytest.mark.parametrize(
    ("place", "name", "step"),
    [(0, "sender_s", 1e-4), (1, "probe_s", 1e-4), (2, "slope_per_k", 1e-7), (3, "slow_share", 1e-5)],
)
def test_the_derivatives_are_those_of_small_changes(place: int, name: str, step: float) -> None:
    time_s = np.cumsum(np.random.default_rng(0).uniform(0.5, 1.5, 1000))
    up, down = (
        followed(
            time_s, heated(time_s), dataclasses.replace(LAGS, **{name: getattr(LAGS, name) + sign * step})
        )
        for sign in (1, -1)
    )
    by = followed(time_s, heated(time_s), LAGS).by_lags[:, place]
    assert by == pytest.approx((up.sender_c - down.sender_c) / (2.0 * step), abs=1e-6 * np.abs(by).max())


@given(lag_s=st.floats(1.0, 60.0), slope=st.floats(-0.01, 0.01))
def test_two_bodies_of_one_lag_show_the_same(lag_s: float, slope: float) -> None:
    time_s = np.arange(0.0, 1000.0)
    found = followed(time_s, heated(time_s), Lags(sender_s=lag_s, probe_s=lag_s, slope_per_k=slope))
    assert found.sender_c == pytest.approx(heated(time_s), abs=1e-9)
