"""Mean of an autocorrelated plateau, against the known variance of a first-order series."""

import math

import numpy as np
import pytest

from calibration.bath.plateau import PlateauMean, plateau_mean, plateau_means

COUNT = 240  # a minute at four readings a second
GOAL = 0.945


def bath_series(
    generator: np.random.Generator,
    *,
    tries: int,
    rho: float,
    count: int = COUNT,
    share: float = 1.0,
    drift: float = 0.0,
) -> np.ndarray:
    """Series of unit variance about zero: a share of first-order wander, white noise, and a drift."""
    fresh = generator.standard_normal((count, tries))
    wander = np.empty((count, tries))
    wander[0] = fresh[0]
    for i in range(1, count):
        wander[i] = rho * wander[i - 1] + math.sqrt(1.0 - rho * rho) * fresh[i]
    white = generator.standard_normal((count, tries))
    line = drift * np.linspace(-0.5, 0.5, count)[:, np.newaxis]
    return (math.sqrt(share) * wander + math.sqrt(1.0 - share) * white + line).T


def u_of_the_mean(rho: float, *, count: int = COUNT) -> float:
    """Standard deviation of the mean of a first-order series of unit variance.

    σ²/n (1 + 2 Σ (1 - k/n) ρ^k): Box and Jenkins, Time Series Analysis (memory).
    """
    k = np.arange(1, count)
    return math.sqrt((1.0 + 2.0 * float(np.sum((1.0 - k / count) * rho**k))) / count)


def share_held(means: tuple[PlateauMean, ...]) -> float:
    """Share of intervals that hold the true mean, zero."""
    return float(np.mean([abs(mean.mean) <= mean.expanded_u for mean in means]))


@pytest.mark.parametrize("rho", [0.3, 0.5, 0.8])
def test_the_uncertainty_of_the_mean_is_that_of_a_first_order_series(rho: float) -> None:
    series = bath_series(np.random.default_rng(11), tries=200, rho=rho)
    stated = [mean.standard_u for mean in plateau_means(series)]
    assert np.mean(stated) == pytest.approx(u_of_the_mean(rho), rel=0.15)


@pytest.mark.parametrize(
    ("rho", "share", "drift"), [(0.8, 1.0, 0.0), (0.95, 1.0, 0.0), (0.99, 1.0, 0.0), (0.99, 0.5, 0.0)]
)
def test_the_interval_holds_the_bath_s_mean_however_slowly_it_wanders(
    rho: float, share: float, drift: float
) -> None:
    series = bath_series(np.random.default_rng(3), tries=400, rho=rho, share=share, drift=drift)
    assert share_held(plateau_means(series)) >= GOAL


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rho", "share", "drift"),
    [
        (0.0, 1.0, 0.0),
        (0.5, 1.0, 0.0),
        (0.8, 1.0, 0.0),
        (0.9, 1.0, 0.0),
        (0.95, 1.0, 0.0),
        (0.98, 1.0, 0.0),
        (0.99, 1.0, 0.0),
        # Slow wander under white noise, as a bath and a converter give it.
        (0.95, 0.5, 0.0),
        (0.95, 0.1, 0.0),
        (0.99, 0.5, 0.0),
        (0.99, 0.1, 0.0),
        (0.99, 0.03, 0.0),
        # A drift of half a standard deviation over the window.
        (0.5, 1.0, 0.5),
        (0.9, 1.0, 0.5),
        (0.99, 0.5, 0.5),
    ],
)
def test_2000_plateaus_of_every_memory_reach_the_goal(rho: float, share: float, drift: float) -> None:
    series = bath_series(np.random.default_rng(1), tries=2000, rho=rho, share=share, drift=drift)
    assert share_held(plateau_means(series)) >= GOAL


@pytest.mark.slow
@pytest.mark.parametrize(("rho", "times"), [(0.5, 1.25), (0.8, 1.35), (0.9, 3.0), (0.95, 4.5), (0.99, 2.0)])
def test_the_interval_is_no_wider_than_said_against_that_of_a_known_memory(rho: float, times: float) -> None:
    """The price of not knowing the memory; the docstring of `plateau_mean` states it."""
    series = bath_series(np.random.default_rng(2), tries=500, rho=rho)
    wide = np.mean([mean.expanded_u for mean in plateau_means(series)])
    assert wide <= times * 2.0 * u_of_the_mean(rho)


def test_a_window_shorter_than_the_memory_says_so_and_a_long_one_does_not() -> None:
    """At four readings a second: a memory of 150 s in a minute, and one of 1.1 s."""
    slow, fast = (
        np.mean(
            [
                mean.is_too_short
                for mean in plateau_means(bath_series(np.random.default_rng(5), tries=200, rho=rho))
            ]
        )
        for rho in (math.exp(-1.0 / 600.0), 0.8)
    )
    assert slow > 0.6
    assert fast < 0.01


def test_the_naive_uncertainty_would_have_been_three_times_too_small() -> None:
    series = bath_series(np.random.default_rng(1), tries=1, rho=0.8)[0]
    naive = float(np.std(series, ddof=1)) / math.sqrt(series.size)
    assert plateau_mean(series.tolist()).standard_u > 2.0 * naive


def test_a_series_gives_the_same_alone_and_among_others() -> None:
    series = bath_series(np.random.default_rng(7), tries=3, rho=0.9)
    together = plateau_means(series)
    for row, mean in zip(series, together, strict=True):
        alone = plateau_mean(row.tolist())
        assert alone.standard_u == pytest.approx(mean.standard_u, rel=1e-9)
        assert alone.degrees_of_freedom == mean.degrees_of_freedom


@pytest.mark.parametrize(("factor", "offset"), [(1e-3, 60.0), (1.8, 32.0)])
def test_unit_and_zero_of_the_series_change_nothing_else(factor: float, offset: float) -> None:
    series = bath_series(np.random.default_rng(8), tries=1, rho=0.95)[0]
    plain, other = plateau_mean(series.tolist()), plateau_mean((offset + factor * series).tolist())
    assert other.expanded_u == pytest.approx(factor * plain.expanded_u, rel=1e-6)
    assert other.mean == pytest.approx(offset + factor * plain.mean)
    assert other.slow_probability == pytest.approx(plain.slow_probability, abs=1e-6)


def test_a_series_read_backwards_is_worth_the_same() -> None:
    series = bath_series(np.random.default_rng(9), tries=1, rho=0.9)[0]
    forward, backward = plateau_mean(series.tolist()), plateau_mean(series[::-1].tolist())
    assert backward.expanded_u == pytest.approx(forward.expanded_u, rel=1e-6)


def test_a_flat_series_has_no_uncertainty_of_its_own() -> None:
    mean = plateau_mean([60.125] * 240)
    assert (mean.mean, mean.standard_u) == (60.125, 0.0)


def test_too_short_a_plateau_is_refused() -> None:
    with pytest.raises(ValueError, match="20 are needed"):
        plateau_mean([60.0] * 19)
