"""Loops on simulated benches: from a course to judged points against the truth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bath.loop import LoopError, LoopFit
from calibration.bench_loop import BenchLoop, fit_bench_loop, judge_loop
from calibration.bench_stand import BenchPoint, BenchSetup
from calibration.conformity import DecisionRule
from host.benchmarks.course import Course, course
from host.benchmarks.electronics import probe_counts, sender_counts, setups
from host.benchmarks.programmes import LoopProgramme
from host.benchmarks.world import Array, Benches

#: Nothing heats for longer. [s]
LONGEST_S = 5400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopOutcome:
    """One loop, judged.

    Attributes
    ----------
    bench : int
    seconds : float
        Bath time. [s]
    fit : LoopFit or None
        None where it was refused.
    refusal : str
        Empty where it was not.
    points : dict[float, tuple[BenchPoint, float]]
        By the temperature asked for: the judged point and the true error there. [K]
    """

    bench: int
    seconds: float
    fit: LoopFit | None
    refusal: str
    points: dict[float, tuple[BenchPoint, float]]


def run_loops(
    benches: Benches,
    *,
    temperatures_c: Sequence[float],
    chance: np.random.Generator,
    programme: LoopProgramme | None = None,
    known: Sequence[BenchSetup] | None = None,
) -> list[LoopOutcome]:
    """Heat every bench through a loop, fit and judge it.

    Parameters
    ----------
    benches : Benches
    temperatures_c : sequence of float
        Where to judge; those beyond a loop's range are left out. [°C]
    chance : numpy.random.Generator
    programme : LoopProgramme, optional
        In place of the usual one.
    known : sequence of BenchSetup, optional
        What the benches know of themselves, where their ohms check is done already.
    """
    heating = programme or LoopProgramme(benches)
    went = course(benches, heating, longest_s=LONGEST_S, chance=chance)
    known = known or setups(benches, chance)
    sender, ranges = sender_counts(benches, benches.sender_ohm(went.element_c), chance)
    probe = probe_counts(benches, benches.probe_ohm(went.probe_c), chance)
    outcomes = []
    for bench in range(benches.count):
        last = _last(went, float(heating.end_s[bench]))
        loop = BenchLoop(
            time_s=tuple(went.time_s[:last]),
            sender_count=tuple(sender[bench, :last]),
            probe_count=tuple(probe[bench, :last]),
            sender_range_ohm=tuple(ranges[bench, :last]),
            air_c=float(benches.air_c[bench]),
            heater_off=tuple(heating.heater_off[bench]),
        )
        outcomes.append(_judged(benches, bench, loop, known[bench], temperatures_c))
    return outcomes


def _last(went: Course, end_s: float) -> int:
    times: Array = went.time_s
    return int(np.searchsorted(times, end_s)) if np.isfinite(end_s) else times.size


def _judged(
    benches: Benches, bench: int, loop: BenchLoop, setup: BenchSetup, temperatures_c: Sequence[float]
) -> LoopOutcome:
    seconds = loop.time_s[-1]
    try:
        fit = fit_bench_loop(loop, setup)
    except LoopError as refusal:
        return LoopOutcome(bench=bench, seconds=seconds, fit=None, refusal=str(refusal), points={})
    inside = [t for t in temperatures_c if fit.valid_from_c <= t <= fit.valid_to_c]
    judged = judge_loop(fit, loop, setup, temperatures_c=inside, rule=DecisionRule.GUARDED, limit_k=None)
    return LoopOutcome(
        bench=bench,
        seconds=seconds,
        fit=fit,
        refusal="",
        points={
            at_c: (point, benches.true_error_k(bench, point.point.temperature_c))
            for at_c, point in zip(inside, judged, strict=True)
        },
    )
