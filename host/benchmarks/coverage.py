"""Whether certified intervals contain the truth, on benches with terms that the budget does not know."""

import numpy as np

from host.benchmarks.loops import LoopOutcome, run_loops
from host.benchmarks.plateaus import judged_plateaus
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Goal, Progress
from host.benchmarks.tally import COLUMNS, Tally, draw_tallies
from host.benchmarks.world import draw_benches

TEMPERATURES_C = (25.0, 45.0, 60.0, 80.0, 95.0)
LOOP_TEMPERATURES_C = (30.0, 45.0, 60.0, 75.0, 85.0)
SHARE_GOAL = 0.945
LARGEST_U_GOAL_K = 0.25

_PLATEAUS, _LOOPS = 20_000, 2_000
_QUICK_PLATEAUS, _QUICK_LOOPS = 500, 12
_AT_ONCE_PLATEAUS, _AT_ONCE_LOOPS = 500, 60


class Coverage:
    """Plateau checks and loops, judged by the bench's own code."""

    name = "coverage"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Count intervals against the truth."""
        plateaus = _QUICK_PLATEAUS if quick else _PLATEAUS
        loops = _QUICK_LOOPS if quick else _LOOPS
        of_plateaus = _plateaus(plateaus, np.random.default_rng([seed, 1]), progress)
        of_loops, refused = _loops(loops, np.random.default_rng([seed, 2]), progress)
        ways = {"plateau": of_plateaus, "loop": of_loops}
        return BenchmarkResult(
            name=self.name,
            title="Coverage: do the intervals contain the truth?",
            seed=seed,
            counts=f"{plateaus:,} plateau checks over {len(TEMPERATURES_C)} temperatures, {loops:,} loops",
            columns=COLUMNS,
            rows=tuple(tally.row(way, t) for way, tally in ways.items() for t in tally.temperatures_c),
            merits=(
                *_merits("plateaus", of_plateaus),
                *_merits("loops", of_loops),
                _refusals(refused, loops),
            ),
            notes=(
                "Probe certificate U = 0.05 K (k = 2), stem half-width 0.15 %, gradient ±0.06 K as declared.",
                "Loops that were refused give no interval and are counted apart.",
            ),
            data={"plateau": of_plateaus.as_data(), "loop": of_loops.as_data(), "refused_loops": refused},
            draw=draw_tallies(ways),
        )


def _plateaus(count: int, chance: np.random.Generator, progress: Progress) -> Tally:
    tally = Tally()
    for first in range(0, count, _AT_ONCE_PLATEAUS):
        some = min(_AT_ONCE_PLATEAUS, count - first)
        benches = draw_benches(some, chance)
        set_c = np.resize(TEMPERATURES_C, some)
        at_c = set_c + chance.uniform(-0.5, 0.5, some)
        for bench, judged, true_k in judged_plateaus(benches, at_c, chance):
            tally.add(float(set_c[bench]), judged, true_k)
        progress(first + some, count, "plateaus")
    return tally


def _loops(count: int, chance: np.random.Generator, progress: Progress) -> tuple[Tally, int]:
    tally, refused = Tally(), 0
    for first in range(0, count, _AT_ONCE_LOOPS):
        some = min(_AT_ONCE_LOOPS, count - first)
        benches = draw_benches(some, chance)
        outcomes = run_loops(benches, temperatures_c=LOOP_TEMPERATURES_C, chance=chance)
        refused += sum(outcome.fit is None for outcome in outcomes)
        for outcome in outcomes:
            _add(tally, outcome)
        progress(first + some, count, "loops")
    return tally, refused


def _add(tally: Tally, outcome: LoopOutcome) -> None:
    for at_c, (judged, true_k) in outcome.points.items():
        tally.add(at_c, judged, true_k)


def _merits(way: str, tally: Tally) -> tuple[FigureOfMerit, FigureOfMerit]:
    return (
        FigureOfMerit(
            name=f"{way}: share of intervals with the truth inside, at the worst temperature",
            value=min(tally.coverage(t) for t in tally.temperatures_c),
            goal=SHARE_GOAL,
            goal_is=Goal.AT_LEAST,
        ),
        FigureOfMerit(
            name=f"{way}: largest U in K",
            value=max(tally.largest_u_k(t) for t in tally.temperatures_c),
            goal=LARGEST_U_GOAL_K,
        ),
    )


def _refusals(refused: int, loops: int) -> FigureOfMerit:
    return FigureOfMerit(name="loops refused, share", value=refused / loops)


benchmark = Coverage()
