"""The weights of a wander's memory, against the likelihood written out with whole matrices."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from calibration.bath.slow_wander import weigh_wander


def test_weights_are_those_of_the_restricted_likelihood_written_out() -> None:
    """Patterson and Thompson: that of n - 1 contrasts, here orthonormal ones, scale integrated over 1/s."""
    generator = np.random.default_rng(4)
    count = 24
    series = np.cumsum(generator.normal(0.0, 0.4, count)) + generator.standard_normal(count)
    found = weigh_wander(series[np.newaxis])
    contrasts = np.linalg.qr(np.column_stack([np.ones(count), np.eye(count)[:, 1:]]))[0][:, 1:].T
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    log_scales = np.linspace(-4.0, 4.0, 1601)
    likelihood = []
    for memory, share in zip(found.memory_readings, found.share, strict=True):
        covariance = share * np.exp(-apart / memory) + (1.0 - share) * np.eye(count)
        values, turns = np.linalg.eigh(contrasts @ covariance @ contrasts.T)
        squares = float(np.sum((turns.T @ contrasts @ series) ** 2 / values))
        logs = -(count - 1) * log_scales - 0.5 * squares * np.exp(-2.0 * log_scales)
        likelihood.append(float(np.sum(np.exp(logs))) / np.sqrt(float(np.prod(values))))
    prior = np.append(np.full(found.share.size - 1, 0.9 / (found.share.size - 1)), 0.1)
    wanted = prior * np.array(likelihood)
    assert found.probability[:, 0] == pytest.approx(wanted / wanted.sum(), rel=1e-6, abs=1e-12)


def test_the_mean_s_uncertainty_is_that_of_the_whole_covariance() -> None:
    """Variance of a mean: the mean of all elements of the covariance, scaled by the series' own squares."""
    generator = np.random.default_rng(6)
    count = 30
    series = generator.standard_normal(count)
    found = weigh_wander(series[np.newaxis])
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    for kind in range(0, found.share.size, 7):
        memory, share = found.memory_readings[kind], found.share[kind]
        covariance = share * np.exp(-apart / memory) + (1.0 - share) * np.eye(count)
        ones = np.ones(count)
        solved = np.linalg.solve(covariance, np.column_stack([ones, series]))
        level = (ones @ solved[:, 1]) / (ones @ solved[:, 0])
        squares = (series - level) @ (solved[:, 1] - level * solved[:, 0])
        wanted = np.sqrt(squares / (count - 1) * covariance.mean())
        assert found.u_mean[kind, 0] == pytest.approx(wanted, rel=1e-9)


def test_a_half_width_holds_as_much_as_was_asked_of_white_noise() -> None:
    """Were there but one kind, the interval would be the normal one: 1.96 u at 95 % (any table)."""
    series = np.random.default_rng(2).standard_normal((1, 2000))
    found = weigh_wander(series)
    alone = found.probability * 0.0
    alone[-1] = 1.0
    one = type(found)(
        probability=alone,
        u_mean=found.u_mean,
        memory_readings=found.memory_readings,
        share=found.share,
    )
    assert one.half_width(0.95)[0] == pytest.approx(1.959964 * found.u_mean[-1, 0], rel=1e-5)
    assert multivariate_normal(0.0, 1.0).cdf(1.959964) == pytest.approx(0.975, abs=1e-6)
