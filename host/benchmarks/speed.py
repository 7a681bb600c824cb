"""How long the computing takes, against what a person would otherwise call, in one run on one machine."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from importlib.metadata import version
from typing import Any

import numpy as np

from host.benchmarks import speed_check, speed_loop, speed_monte_carlo
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Progress
from host.errors import DeskError

GOAL_RATIO, GOAL_CHECK_S = 1.0, 0.25
TRIALS, QUICK_TRIALS = 1_000_000, 100_000
LOOP_READINGS = 10_000
#: Searches end sooner on one loop than on another, so several are timed together.
LOOPS, QUICK_LOOPS = 6, 2
REPEATS, QUICK_REPEATS = 9, 3

_RIVALS = ("lmfit", "metrolopy")


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """Seconds that something took, again and again. The shortest is what the work needs; the rest is company.

    Attributes
    ----------
    seconds : tuple[float, ...]
        Without a first time that only warms up. [s]
    outcome : object
        What came of the last time.
    """

    seconds: tuple[float, ...]
    outcome: Any

    @property
    def shortest_s(self) -> float:
        """[s]"""
        return min(self.seconds)

    @property
    def median_s(self) -> float:
        """[s]"""
        return float(np.median(self.seconds))


class Speed:
    """The benchmark of that name."""

    name = "speed"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Time the three computations.

        Raises
        ------
        DeskError
            If a package to compare with is not installed.
        """
        _refuse_without_rivals()
        repeats = QUICK_REPEATS if quick else REPEATS
        trials = QUICK_TRIALS if quick else TRIALS
        progress(0, 3, "trials of a point")
        by_trials = alternately(
            {
                "bench": lambda: speed_monte_carlo.by_the_bench(trials, seed),
                "metrolopy": lambda: speed_monte_carlo.by_metrolopy(trials, seed),
            },
            repeats,
        )
        progress(1, 3, "fits of a loop")
        count = QUICK_LOOPS if quick else LOOPS
        loops = [speed_loop.LoopReadings(LOOP_READINGS, seed + place) for place in range(count)]
        by_fit = alternately(
            {
                "bench": lambda: [speed_loop.by_the_bench(loop) for loop in loops],
                "lmfit": lambda: [speed_loop.by_lmfit(loop) for loop in loops],
            },
            repeats,
        )
        progress(2, 3, "whole sender checks")
        readings = speed_check.readings_of(seed)
        check = alternately({"bench": lambda: speed_check.checked(readings)}, repeats)["bench"]
        progress(3, 3, "done")
        return _result(seed, trials, repeats, by_trials, by_fit, check)


def alternately(tasks: Mapping[str, Callable[[], Any]], repeats: int) -> dict[str, Timed]:
    """Time tasks turn by turn, so that what else the machine does falls on all of them."""
    seconds: dict[str, list[float]] = {name: [] for name in tasks}
    outcomes = {name: task() for name, task in tasks.items()}
    for _ in range(repeats):
        for name, task in tasks.items():
            start = time.perf_counter()
            outcomes[name] = task()
            seconds[name].append(time.perf_counter() - start)
    return {name: Timed(seconds=tuple(seconds[name]), outcome=outcomes[name]) for name in tasks}


def _refuse_without_rivals() -> None:
    for name in _RIVALS:
        try:
            import_module(name)
        except ImportError as error:
            raise DeskError(
                f"The speed benchmark compares with {name}, which is not installed: pip install '.[dev]'."
            ) from error


def _result(
    seed: int,
    trials: int,
    repeats: int,
    by_trials: Mapping[str, Timed],
    by_fit: Mapping[str, Timed],
    check: Timed,
) -> BenchmarkResult:
    pairs = (
        (f"{trials:,} trials of a sender-check point", "metrolopy", by_trials),
        (f"curve and lags of {_loops(by_fit)} loops, {LOOP_READINGS:,} readings each", "lmfit", by_fit),
    )
    rows = [
        (words, f"{both['bench'].shortest_s:.3f}", rival, f"{both[rival].shortest_s:.3f}",
         f"{_ratio(both, rival):.2f}")
        for words, rival, both in pairs
    ]  # fmt: skip
    rows.append(("whole sender check, five plateaus", f"{check.median_s:.3f}", "", "", ""))
    merits = [
        FigureOfMerit(name=f"{words}: bench over {rival}", value=_ratio(both, rival), goal=GOAL_RATIO)
        for words, rival, both in pairs
    ]
    merits.append(
        FigureOfMerit(name="whole sender check, median, seconds", value=check.median_s, goal=GOAL_CHECK_S)
    )
    return BenchmarkResult(
        name="speed",
        title="Speed",
        seed=seed,
        counts=f"{repeats} repeats of each, turn by turn, after one that warms up",
        columns=("work", "bench [s]", "against", "it takes [s]", "ratio"),
        rows=tuple(rows),
        merits=tuple(merits),
        notes=_notes(by_trials, by_fit),
        data=_data(by_trials, by_fit, check),
        draw=lambda figure: _draw(figure, pairs, check),
    )


def _loops(by_fit: Mapping[str, Timed]) -> int:
    return len(by_fit["bench"].outcome)


def _ratio(both: Mapping[str, Timed], rival: str) -> float:
    return both["bench"].shortest_s / both[rival].shortest_s


def _notes(by_trials: Mapping[str, Timed], by_fit: Mapping[str, Timed]) -> tuple[str, ...]:
    ours, theirs = by_trials["bench"].outcome, by_trials["metrolopy"].outcome
    errors_mk = {
        name: 1000.0 * max(abs(error_k) for errors in timed.outcome for error_k in errors.values())
        for name, timed in by_fit.items()
    }
    versions = ", ".join(f"{name} {version(name)}" for name in _RIVALS)
    return (
        f"Compared with {versions}; shortest of the repeats, so that other work on the machine counts "
        "little. The whole check is a median.",
        f"Trials: U is {ours.half_interval_k:.4f} K by the bench and {theirs.half_interval_k:.4f} K by "
        "metrolopy, from the same model and shapes.",
        f"Loop: the curve is off by at most {errors_mk['bench']:.1f} mK (bench) and "
        f"{errors_mk['lmfit']:.1f} mK (lmfit) at 30, 60 and 90 °C. lmfit fits the same "
        "equations with a forward model written for it and takes the noise for white; the bench also finds "
        "the coloured noise of the bath, which its uncertainties rest on.",
    )


def _data(by_trials: Mapping[str, Timed], by_fit: Mapping[str, Timed], check: Timed) -> dict[str, Any]:
    return {
        "trials_s": {name: list(timed.seconds) for name, timed in by_trials.items()},
        "loop_s": {name: list(timed.seconds) for name, timed in by_fit.items()},
        "loop_error_k": {
            name: [{f"{at_c:g}": error_k for at_c, error_k in errors.items()} for errors in timed.outcome]
            for name, timed in by_fit.items()
        },
        "check_s": list(check.seconds),
        "versions": {name: version(name) for name in _RIVALS},
    }


def _draw(figure: Any, pairs: Any, check: Timed) -> None:
    names: list[str] = ["whole sender check"]
    seconds: list[float] = [check.median_s]
    for words, rival, both in reversed(pairs):
        names += [f"{words}: {rival}", f"{words}: bench"]
        seconds += [both[rival].shortest_s, both["bench"].shortest_s]
    axes = figure.add_subplot()
    axes.barh(names, seconds, color=["0.75" if name.endswith(_RIVALS) else "0.35" for name in names])
    axes.axvline(GOAL_CHECK_S, color="0.1", linewidth=0.8, linestyle="--")
    axes.set_xlabel("seconds (dashed: 0.25 s, the goal of a whole check)")
    figure.set_layout_engine("constrained")


benchmark = Speed()
