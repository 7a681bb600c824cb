"""Mean of an autocorrelated plateau, against the known variance of a first-order series."""

import math

import numpy as np
import pytest

from calibration.bath.plateau import plateau_mean
from calibration.uncertainty.budget import coverage_factor


def first_order_series(generator: np.random.Generator, *, count: int, rho: float) -> np.ndarray:
    """Stationary first-order autoregressive series of unit variance."""
    series = np.empty(count)
    series[0] = generator.standard_normal()
    for i in range(1, count):
        series[i] = rho * series[i - 1] + math.sqrt(1.0 - rho * rho) * generator.standard_normal()
    return series


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6, 0.8])
def test_the_uncertainty_of_the_mean_is_that_of_a_first_order_series(rho: float) -> None:
    """σ²/n (1 + ρ)/(1 - ρ) for long series: Box and Jenkins, Time Series Analysis (memory)."""
    generator = np.random.default_rng(11)
    count = 240
    stated = [
        plateau_mean(first_order_series(generator, count=count, rho=rho)).standard_u for _ in range(200)
    ]
    wanted = math.sqrt((1.0 + rho) / (1.0 - rho) / count)
    assert np.mean(stated) == pytest.approx(wanted, rel=0.15)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8])
def test_nineteen_intervals_of_twenty_contain_the_true_mean(rho: float) -> None:
    generator = np.random.default_rng(3)
    hits, tries = 0, 400
    for _ in range(tries):
        mean = plateau_mean(first_order_series(generator, count=240, rho=rho))
        hits += abs(mean.mean) <= coverage_factor(mean.degrees_of_freedom) * mean.standard_u
    assert hits / tries >= 0.92  # 95.45 % less three standard deviations of 400 tries


def test_the_naive_uncertainty_would_have_been_three_times_too_small() -> None:
    series = first_order_series(np.random.default_rng(1), count=240, rho=0.8)
    naive = float(np.std(series, ddof=1)) / math.sqrt(series.size)
    assert plateau_mean(series).standard_u > 2.0 * naive


def test_a_flat_series_has_no_uncertainty_of_its_own() -> None:
    mean = plateau_mean([60.125] * 240)
    assert (mean.mean, mean.standard_u) == (60.125, 0.0)


def test_too_short_a_plateau_is_refused() -> None:
    with pytest.raises(ValueError, match="20 are needed"):
        plateau_mean([60.0] * 19)
