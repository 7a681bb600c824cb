"""The noise of a loop, against a general time-series package and dense algebra."""

import math

import numpy as np
import pytest
from scipy.linalg import toeplitz
from scipy.signal import lfilter
from statsmodels.tsa.arima_process import ArmaProcess

from calibration.bath.loop_noise import LoopNoise, Whitening, fit_noise, white_noise_of

NOISE = LoopNoise(step_s=4.0, sender_k=0.0012, probe_k=0.0012, wander_k=0.015, wander_s=60.0)
LAGS = {"sender_s": 15.0, "probe_s": 4.0}


def autocovariance(noise: LoopNoise, count: int) -> np.ndarray:
    """White noise and a wander behind a lag, summed term by term from their impulse responses."""
    kept, memory = math.exp(-noise.step_s / LAGS["sender_s"]), math.exp(-noise.step_s / noise.wander_s)
    impulse = np.zeros(2000)
    impulse[0] = 1.0
    fed_k = noise.wander_k * math.sqrt(1.0 - memory**2) * (1.0 - kept)
    wander = fed_k * lfilter([1.0], np.convolve([1.0, -kept], [1.0, -memory]), impulse)
    mean_kept = LAGS["sender_s"] * (1.0 - kept) / noise.step_s
    ahead = (1.0 - kept) * LAGS["probe_s"] / noise.step_s
    probe = noise.probe_k * lfilter(
        [1.0 - mean_kept + ahead, mean_kept - kept - ahead], [1.0, -kept], impulse
    )
    found = np.array(
        [sum(float(part[: part.size - i] @ part[i:]) for part in (wander, probe)) for i in range(count)]
    )
    found[0] += noise.sender_k**2
    return found


def test_the_short_filter_belongs_to_the_sum_of_white_noise_and_followed_wander() -> None:
    """statsmodels' autocovariance of the ARMA process that the filter inverts."""
    whitening = Whitening(NOISE, **LAGS)
    process = ArmaProcess(ar=whitening._forward, ma=whitening._back)
    theirs = whitening.innovation_k**2 * process.acovf(40)
    assert theirs == pytest.approx(autocovariance(NOISE, 40), rel=1e-6)


def test_whitened_noise_is_white_and_of_size_one() -> None:
    covariance = toeplitz(autocovariance(NOISE, 300))
    rows = np.linalg.cholesky(covariance) @ np.random.default_rng(3).standard_normal((300, 400))
    white = Whitening(NOISE, **LAGS).of(rows)[5:]
    assert white.std() == pytest.approx(1.0, abs=0.01)
    neighbours = float(np.mean(white[1:] * white[:-1]))
    assert abs(neighbours) < 0.02


def test_the_wander_is_found_again_from_residuals_of_a_curve() -> None:
    covariance = toeplitz(autocovariance(NOISE, 300))
    shape = np.linalg.cholesky(covariance)
    design = np.vander(np.linspace(-1.0, 1.0, 300), 7)
    chance = np.random.default_rng(5)
    rates = []
    for _ in range(25):
        rows = shape @ chance.standard_normal(300)
        left = rows - design @ np.linalg.lstsq(design, rows, rcond=None)[0]
        found = fit_noise(left, design, NOISE, **LAGS)
        rates.append(found.wander_k**2 / found.wander_s)
    # How fast the bath wanders is what weighs; its size and memory alone hide behind the curve.
    assert np.median(rates) == pytest.approx(NOISE.wander_k**2 / NOISE.wander_s, rel=0.2)


def test_white_noise_is_told_from_a_course_and_from_outliers() -> None:
    chance = np.random.default_rng(7)
    course = 20.0 * np.sin(np.arange(2000) / 300.0)
    readings = course + 0.004 * chance.standard_normal(2000)
    readings[[300, 900, 1500]] += 1.0
    assert white_noise_of(readings) == pytest.approx(0.004, rel=0.05)
