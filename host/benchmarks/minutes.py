"""Bath minutes to a verdict: a loop against three and five plateaus that settle of themselves."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from calibration.bench_stand import BenchPoint, BenchSetup
from host.benchmarks.course import course
from host.benchmarks.electronics import setups
from host.benchmarks.loops import LONGEST_S, run_loops
from host.benchmarks.plateaus import judged_windows
from host.benchmarks.programmes import LoopProgramme, PlateauProgramme
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Progress
from host.benchmarks.world import BATHS, Array, Benches, draw_benches

THREE_C = (30.0, 60.0, 85.0)
FIVE_C = (30.0, 45.0, 60.0, 75.0, 85.0)
OF_THREE_GOAL, OF_FIVE_GOAL, U_GOAL = 0.7, 0.5, 1.1

_BENCHES, _QUICK_BENCHES, _AT_ONCE = 150, 9, 50
_LONGEST_PLATEAUS_S = 7200.0


@dataclass(slots=True)
class Way:
    """One way through the curve, bench by bench.

    Attributes
    ----------
    minutes : list[float]
        Bath time, whether it led to a result or not. [min]
    refused : list[bool]
        Where it did not.
    wrong_k, expanded_u_k : dict[float, list[float]]
        By temperature. [K]
    """

    name: str
    minutes: list[float] = field(default_factory=list)
    refused: list[bool] = field(default_factory=list)
    wrong_k: dict[float, list[float]] = field(default_factory=dict)
    expanded_u_k: dict[float, list[float]] = field(default_factory=dict)

    def add(self, at_c: float, judged: BenchPoint, true_k: float) -> None:
        """Take one judged point."""
        self.wrong_k.setdefault(at_c, []).append(judged.point.error_k - true_k)
        self.expanded_u_k.setdefault(at_c, []).append(judged.point.expanded_u_k)

    def mean_u_k(self, temperatures_c: tuple[float, ...]) -> float:
        """Mean expanded uncertainty over temperatures. [K]"""
        return float(np.mean([np.mean(self.expanded_u_k[t]) for t in temperatures_c]))

    def rms_k(self) -> float:
        """Certified minus true, over all points. [K]"""
        return float(np.sqrt(np.mean(np.square(np.concatenate(list(self.wrong_k.values()))))))


# The usual loop, and ones with less rest: how much of a pause does the fit need?
_PROGRAMMES: dict[str, Callable[[Benches], LoopProgramme]] = {
    "loop": LoopProgramme,
    "loop, half the pauses": lambda benches: LoopProgramme(
        benches, pause_lags=2.0, shortest_pause_s=40.0, top_s=80.0
    ),
    "loop, one pause near 56 °C": lambda benches: LoopProgramme(benches, pauses_c=(56.0,), top_s=80.0),
    "loop, no pause, top only": lambda benches: LoopProgramme(benches, pauses_c=(), top_s=60.0),
}


class Minutes:
    """The same benches, gone through in every way."""

    name = "minutes"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Compare bath minutes, error and U."""
        count = _QUICK_BENCHES if quick else _BENCHES
        programmes = dict(list(_PROGRAMMES.items())[:1]) if quick else _PROGRAMMES
        ways = {name: Way(name) for name in (*programmes, "three plateaus", "five plateaus")}
        kinds: list[int] = []
        chance = np.random.default_rng([seed, 3])
        for first in range(0, count, _AT_ONCE):
            benches = draw_benches(min(_AT_ONCE, count - first), chance)
            known = setups(benches, chance)
            kinds += benches.kind.tolist()
            for name, programme in programmes.items():
                _loops(ways[name], benches, programme(benches), known, chance)
            for name, set_c in (("three plateaus", THREE_C), ("five plateaus", FIVE_C)):
                _plateaus(ways[name], benches, set_c, known, chance)
            progress(min(first + _AT_ONCE, count), count, "benches")
        return _result(self.name, seed, count, ways, np.array(kinds))


def _loops(
    way: Way,
    benches: Benches,
    programme: LoopProgramme,
    known: list[BenchSetup],
    chance: np.random.Generator,
) -> None:
    outcomes = run_loops(benches, temperatures_c=FIVE_C, chance=chance, programme=programme, known=known)
    for outcome in outcomes:
        way.minutes.append(outcome.seconds / 60.0)
        way.refused.append(outcome.fit is None)
        for at_c, (judged, true_k) in outcome.points.items():
            way.add(at_c, judged, true_k)


def _plateaus(
    way: Way,
    benches: Benches,
    set_c: tuple[float, ...],
    known: list[BenchSetup],
    chance: np.random.Generator,
) -> None:
    programme = PlateauProgramme(benches, set_c)
    went = course(benches, programme, longest_s=_LONGEST_PLATEAUS_S, chance=chance)
    for bench in range(benches.count):
        ended_s = float(programme.end_s[bench])
        way.minutes.append(min(ended_s, _LONGEST_PLATEAUS_S) / 60.0)
        way.refused.append(not np.isfinite(ended_s))
        judged = judged_windows(benches, bench, went, programme.windows[bench], known[bench], chance)
        for at_c, (_, point, true_k) in zip(set_c, judged, strict=False):
            way.add(at_c, point, true_k)


def _result(name: str, seed: int, count: int, ways: dict[str, Way], kinds: Array) -> BenchmarkResult:
    loop, three, five = ways["loop"], ways["three plateaus"], ways["five plateaus"]
    of_three, of_five = _ratios(loop, three), _ratios(loop, five)
    return BenchmarkResult(
        name=name,
        title="Minutes to a verdict: a loop against plateaus on the same baths",
        seed=seed,
        counts=f"{count} benches: kettles, hotplates and insulated jugs, a third each",
        columns=(
            "way",
            *(f"{bath.name}, min" for bath in BATHS),
            "all, min",
            "of three",
            "of five",
            "no result",
            "rms error in K",
            "mean U in K",
        ),  # fmt: skip
        rows=tuple(_row(way, three, five, kinds) for way in ways.values()),
        merits=(
            FigureOfMerit(
                name="loop of three plateaus, median ratio of minutes", value=of_three, goal=OF_THREE_GOAL
            ),
            FigureOfMerit(
                name="loop of five plateaus, median ratio of minutes", value=of_five, goal=OF_FIVE_GOAL
            ),
            FigureOfMerit(
                name="loop's U of three plateaus' U",
                value=loop.mean_u_k(THREE_C) / three.mean_u_k(THREE_C),
                goal=U_GOAL,
            ),
            FigureOfMerit(
                name="loop's U of five plateaus' U",
                value=loop.mean_u_k(FIVE_C) / five.mean_u_k(FIVE_C),
                goal=U_GOAL,
            ),
            FigureOfMerit(
                name="the same of three, all minutes, refused loops made up for by plateaus",
                value=_made_up_for(loop, three),
            ),
            FigureOfMerit(
                name="shortest programme of three plateaus, made up for likewise",
                value=min(_made_up_for(way, three) for name, way in ways.items() if name.startswith("loop")),
            ),
        ),
        notes=(
            "Minutes run from the cold bath at rest to the last reading; cooling is not counted.",
            "A refused loop's minutes count as spent; its error and U are none.",
            "Plateaus have a thermostat that knows its bath's losses and lag; a plainer one takes longer.",
            f"Loops are run at full power up to {LONGEST_S / 60.0:g} minutes at the longest.",
        ),
        data={
            way.name: {
                "minutes": [round(minutes, 2) for minutes in way.minutes],
                "refused": sum(way.refused),
                "rms_k": way.rms_k(),
                "mean_u_k": {f"{t:g}": float(np.mean(u)) for t, u in sorted(way.expanded_u_k.items())},
            }
            for way in ways.values()
        },
        draw=_draw(ways),
    )


def _ratios(way: Way, other: Way) -> float:
    return float(np.median(np.array(way.minutes) / np.array(other.minutes)))


def _made_up_for(way: Way, other: Way) -> float:
    """Minutes against another way's, where refused loops are followed by that other way."""
    own, others = np.array(way.minutes), np.array(other.minutes)
    return float((own + np.where(way.refused, others, 0.0)).sum() / others.sum())


def _row(way: Way, three: Way, five: Way, kinds: Array) -> tuple[str, ...]:
    minutes = np.array(way.minutes)
    by_bath = [f"{np.median(minutes[kinds == kind]):.1f}" for kind in range(len(BATHS))]
    return (
        way.name,
        *by_bath,
        f"{np.median(minutes):.1f}",
        f"{_ratios(way, three):.2f}",
        f"{_ratios(way, five):.2f}",
        f"{sum(way.refused)}",
        f"{way.rms_k():.3f}",
        f"{way.mean_u_k(THREE_C):.3f}",
    )


def _draw(ways: dict[str, Way]) -> Callable[[Any], None]:
    def draw(figure: Any) -> None:
        axes = figure.subplots()
        names = list(ways)
        axes.boxplot([ways[name].minutes for name in names], widths=0.6)
        axes.set_xticks(range(1, len(names) + 1), [name.replace(", ", ",\n") for name in names], fontsize=7)
        axes.set_ylim(bottom=0.0)
        axes.set_ylabel("bath minutes to a verdict")

    return draw


benchmark = Minutes()
