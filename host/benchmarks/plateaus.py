"""Plateaus on simulated benches: readings of a bath that has settled as far as a desk can see."""

from collections.abc import Iterator, Sequence

import numpy as np

from calibration.bath.settling import SLOPE_LIMIT_K_PER_MIN
from calibration.bench_point import BenchPoint, Plateau, judge_plateau
from calibration.bench_stand import BenchSetup
from calibration.conformity import DecisionRule
from host.benchmarks.course import STEP_S, Course
from host.benchmarks.electronics import heat_k, probe_counts, sender_counts, sender_range, setups
from host.benchmarks.programmes import WINDOW_S
from host.benchmarks.world import PROBE_RANGE_OHM, Array, Benches

_READINGS = int(WINDOW_S / STEP_S)


def judged_plateaus(
    benches: Benches, at_c: Array, chance: np.random.Generator
) -> Iterator[tuple[int, BenchPoint, float]]:
    """Judge one settled plateau on each bench by the bench's own code.

    Parameters
    ----------
    benches : Benches
    at_c : ndarray, shape (k,)
        Where each bath stands. [°C]
    chance : numpy.random.Generator

    Yields
    ------
    bench, judged point, true error [K]
    """
    time_s: Array = np.arange(_READINGS, dtype=np.float64) * STEP_S
    sender_c, probe_c = _settled(benches, at_c, time_s, chance)
    sender, ranges = sender_counts(benches, benches.sender_ohm(sender_c), chance)
    probe = probe_counts(benches, benches.probe_ohm(probe_c), chance)
    slopes = slopes_k_per_min(time_s, probe_c)
    for bench, setup in enumerate(setups(benches, chance)):
        plateau = Plateau(
            sender_count=tuple(sender[bench].tolist()),
            probe_count=tuple(probe[bench].tolist()),
            sender_range_ohm=float(ranges[bench, 0]),
            slope_k_per_min=float(slopes[bench]),
            air_c=float(benches.air_c[bench]),
        )
        yield _judged(benches, bench, plateau, setup)


def judged_windows(
    benches: Benches,
    bench: int,
    went: Course,
    windows: Sequence[tuple[int, int]],
    setup: BenchSetup,
    chance: np.random.Generator,
) -> list[tuple[int, BenchPoint, float]]:
    """Judge the windows of one bench's course.

    Parameters
    ----------
    benches : Benches
    bench : int
    went : Course
    windows : sequence of (first, past the last)
        Readings of each plateau.
    setup : BenchSetup
    chance : numpy.random.Generator
    """
    one = benches.some(slice(bench, bench + 1))
    judged = []
    for first, past in windows:
        element_c, probe_c = (
            went.element_c[bench : bench + 1, first:past],
            went.probe_c[bench : bench + 1, first:past],
        )
        sender, ranges = sender_counts(one, one.sender_ohm(element_c), chance)
        probe = probe_counts(one, one.probe_ohm(probe_c), chance)
        plateau = Plateau(
            sender_count=tuple(sender[0].tolist()),
            probe_count=tuple(probe[0].tolist()),
            sender_range_ohm=float(ranges[0, 0]),
            slope_k_per_min=float(slopes_k_per_min(went.time_s[first:past], probe_c)[0]),
            air_c=float(one.air_c[0]),
        )
        judged.append(_judged(one, 0, plateau, setup))
    return judged


def slopes_k_per_min(time_s: Array, temperature_c: Array) -> Array:
    """Slope of each row. [K/min]"""
    centred_s = time_s - time_s.mean()
    centred_k = temperature_c - temperature_c.mean(axis=1, keepdims=True)
    slopes: Array = 60.0 * centred_k @ centred_s / (centred_s @ centred_s)
    return slopes


def _judged(
    benches: Benches, bench: int, plateau: Plateau, setup: BenchSetup
) -> tuple[int, BenchPoint, float]:
    judged = judge_plateau(plateau, setup, rule=DecisionRule.GUARDED, limit_k=None)
    return bench, judged, benches.true_error_k(bench, judged.point.temperature_c)


def _settled(
    benches: Benches, at_c: Array, time_s: Array, chance: np.random.Generator
) -> tuple[Array, Array]:
    """Temperatures of element and probe along a plateau, after whatever came before has died away. [°C]"""
    count = benches.count
    slope = chance.uniform(-SLOPE_LIMIT_K_PER_MIN, SLOPE_LIMIT_K_PER_MIN, count) / 60.0
    turns = 2.0 * np.pi / np.exp(chance.uniform(np.log(30.0), np.log(150.0), count))
    phase = chance.uniform(0.0, 2.0 * np.pi, count)
    share = benches.body_share
    element_lag_s = benches.sender_lag_s * (1.0 - share + share * benches.body_lag_factor)

    def follows(lag_s: Array) -> Array:
        behind = phase - np.arctan(turns * lag_s)
        size = benches.ripple_k / np.hypot(1.0, turns * lag_s)
        ripple = size[:, np.newaxis] * np.sin(turns[:, np.newaxis] * time_s + behind[:, np.newaxis])
        way: Array = slope[:, np.newaxis] * (time_s - lag_s[:, np.newaxis]) + ripple
        return way

    here = at_c + benches.gradient_k + benches.gradient_s * slope
    ohm = benches.sender_ohm(at_c)
    stands = here - benches.stem_k(here) + heat_k(ohm, sender_range(ohm), benches.sender_w_per_k)
    probe = at_c + heat_k(benches.probe_ohm(at_c), PROBE_RANGE_OHM, benches.probe_w_per_k)
    sender_c = (
        stands[:, np.newaxis] + follows(element_lag_s) + _wander(benches, element_lag_s, time_s.size, chance)
    )
    return sender_c, probe[:, np.newaxis] + follows(benches.probe_lag_s)


def _wander(benches: Benches, lag_s: Array, readings: int, chance: np.random.Generator) -> Array:
    """The bath's wander as the sender follows it: smaller and slower by its lag."""
    memory_s = benches.wander_s + lag_s
    size = benches.wander_k * np.sqrt(benches.wander_s / memory_s)
    kept = np.exp(-STEP_S / memory_s)
    rows = np.empty((readings, benches.count))
    rows[0] = size * chance.standard_normal(benches.count)
    for reading in range(1, readings):
        fresh = size * np.sqrt(1.0 - kept**2) * chance.standard_normal(benches.count)
        rows[reading] = kept * rows[reading - 1] + fresh
    return rows.T
