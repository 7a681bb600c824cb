"""How often the diagnosis names the right fault, and how often a wrong one, from barely visible to gross."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import (
    NAMED_FROM,
    DeadPoint,
    Diagnosis,
    Fault,
    attribute,
    why_on_the_bench,
)
from calibration.diagnosis.curve_view import coincide, view_of
from calibration.errors import CurveRangeError
from host.benchmarks.attribution_bound import Bound, bounds
from host.benchmarks.attribution_ladders import BENCH, HAND, MULTIPLES, ladders, without_size
from host.benchmarks.attribution_world import (
    BENCH_C,
    HAND_C,
    Bench,
    Planted,
    Sender,
    burst_of,
    draw_sender,
    measured_by_hand,
)
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Goal, Progress

CURVE = "ntc-2k5-20c"
GOAL_RIGHT, GOAL_WRONG = 0.90, 0.02
#: The goal's size, in units of the smallest nameable one.
GOAL_MULTIPLE = 2.0
QUICK_MULTIPLES = (1.0, 2.0)
TRIALS, QUICK_TRIALS = 400, 40
#: Points drawn from each fault and size for the bound on any classifier.
BOUND_DRAWS, QUICK_BOUND_DRAWS = 200, 20

#: Answers in the order of the table.
ANSWERS = (
    Fault.HEALTHY, Fault.R25, Fault.BETA, Fault.SERIES, Fault.LEAKAGE, Fault.ANOTHER_CURVE,
    Fault.STEM_OR_THERMOMETER, Fault.OPEN, Fault.SHORT, Fault.INTERMITTENT, Fault.CANNOT_TELL,
)  # fmt: skip
_HEADINGS = (
    "good", "R25", "beta", "series", "leak", "other curve", "stem, thermo", "open", "short", "intermittent",
    "cannot tell",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One fault of one size, measured one way, many times.

    Attributes
    ----------
    measured, words, shown : str
    fault : Fault
    multiple : float or None
        Of the smallest nameable size; None where there is no size.
    has_goal : bool
    answers : Counter
        How often each answer was given.
    truly_good : int
        How often a sender was called good that, as it stood, kept the maker's tolerance.
    """

    measured: str
    words: str
    shown: str
    fault: Fault
    multiple: float | None
    has_goal: bool
    answers: Counter[Fault]
    truly_good: int

    @property
    def trials(self) -> int:
        """How often it was tried."""
        return sum(self.answers.values())

    def share(self, fault: Fault) -> float:
        """Share of an answer."""
        return self.answers[fault] / self.trials

    @property
    def is_nameable(self) -> bool:
        """Whether the fault is at least of the smallest nameable size, or has no size."""
        return self.multiple is None or (self.has_goal and self.multiple >= 1.0)

    @property
    def another_fault_named(self) -> float:
        """Share in which a fault was named that is not there."""
        rest = {self.fault, Fault.CANNOT_TELL, Fault.HEALTHY}
        return sum(n for answer, n in self.answers.items() if answer not in rest) / self.trials

    @property
    def called_good(self) -> float:
        """Share in which a sender was called good."""
        return self.share(Fault.HEALTHY)

    @property
    def wrongly_called_good(self) -> float:
        """Share in which a sender was called good that was not."""
        return self.called_good - self.truly_good / self.trials


class AttributionBenchmark:
    """Confusion matrix of the diagnosis."""

    name = "attribution"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Plant, measure, diagnose, count."""
        trials = QUICK_TRIALS if quick else TRIALS
        plans = list(_plans(QUICK_MULTIPLES if quick else MULTIPLES))
        library = [load_curve(name) for name in curve_names()]
        curve = load_curve(CURVE)
        cells = []
        for number, plan in enumerate(plans):
            progress(number, len(plans), f"{plan.measured}: {plan.words} {plan.shown}")
            # A stream of its own for each cell: the same numbers whatever else is run.
            chance = np.random.default_rng([seed, number])
            cells.append(_cell(plan, curve, library, trials, chance))
        progress(len(plans), len(plans), "what any classifier could do")
        most = {measured: _bounds(measured, curve, seed=seed, quick=quick) for measured in (HAND, BENCH)}
        progress(len(plans), len(plans), "done")
        return _result(cells, most, seed, trials)


benchmark = AttributionBenchmark()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    measured: str
    words: str
    shown: str
    fault: Fault
    multiple: float | None
    has_goal: bool
    planted: Planted


def _plans(multiples: tuple[float, ...]) -> Iterator[_Plan]:
    for measured in (HAND, BENCH):
        for fault, words, shown, planted in without_size(measured):
            yield _Plan(measured=measured, words=words, shown=shown, fault=fault, multiple=None,
                        has_goal=False, planted=planted)  # fmt: skip
        for ladder in ladders(measured):
            for multiple, size in ladder.sizes(multiples):
                yield _Plan(measured=measured, words=ladder.words, shown=ladder.shown(size),
                            fault=ladder.fault, multiple=multiple, has_goal=ladder.has_goal,
                            planted=ladder.planted(size))  # fmt: skip


def _bounds(measured: str, curve: ReferenceCurve, *, seed: int, quick: bool) -> tuple[Bound, ...]:
    return bounds(
        measured,
        curve,
        multiple=GOAL_MULTIPLE,
        wrong_at_most=GOAL_WRONG,
        draws=QUICK_BOUND_DRAWS if quick else BOUND_DRAWS,
        seed=seed,
    )


def _cell(
    plan: _Plan,
    curve: ReferenceCurve,
    library: list[ReferenceCurve],
    trials: int,
    chance: np.random.Generator,
) -> Cell:
    bench = Bench(curve)
    parts = [curve]
    if plan.fault is Fault.ANOTHER_CURVE:
        parts = _others(curve, library, HAND_C if plan.measured == HAND else BENCH_C)
    answers: Counter[Fault] = Counter()
    truly_good = 0
    for trial in range(trials):
        sender = draw_sender(parts[trial % len(parts)], plan.planted, chance)
        if plan.measured == HAND:
            diagnosis = attribute(measured_by_hand(sender, chance), curve, library=library)
        else:
            diagnosis = _on_the_bench(bench, sender, curve, library, chance)
        answer = diagnosis.answer.fault
        answers[answer] += 1
        is_of_the_curve = plan.fault is not Fault.ANOTHER_CURVE
        truly_good += answer is Fault.HEALTHY and is_of_the_curve and sender.keeps_tolerance
    return Cell(measured=plan.measured, words=plan.words, shown=plan.shown, fault=plan.fault,
                multiple=plan.multiple, has_goal=plan.has_goal, answers=answers,
                truly_good=truly_good)  # fmt: skip


def _on_the_bench(
    bench: Bench,
    sender: Sender,
    curve: ReferenceCurve,
    library: list[ReferenceCurve],
    chance: np.random.Generator,
) -> Diagnosis:
    """Five plateaus and a burst; where the converter stands at its rail, five dead set points."""
    circuit = sender.planted.circuit
    if circuit is not None:
        dead = [DeadPoint(temperature_c=t, circuit=circuit) for t in BENCH_C]
        return why_on_the_bench([], curve, library=library, dead=dead)
    judged = bench.judged(sender, chance)
    return why_on_the_bench(judged, curve, library=library, burst=burst_of(sender, chance))


def _others(
    curve: ReferenceCurve, library: list[ReferenceCurve], temperatures_c: tuple[float, ...]
) -> list[ReferenceCurve]:
    """Curves of the library that reach all temperatures with room and do not coincide with the one."""
    wide = np.array([min(temperatures_c) - 3.0, *temperatures_c, max(temperatures_c) + 3.0])
    others = []
    for other in library:
        try:
            if other.name != curve.name and not coincide(view_of(curve, wide), view_of(other, wide)):
                others.append(other)
        except CurveRangeError:
            continue
    return others


def _result(cells: list[Cell], most: dict[str, tuple[Bound, ...]], seed: int, trials: int) -> BenchmarkResult:
    return BenchmarkResult(
        name="attribution",
        title="Naming the fault",
        seed=seed,
        counts=f"{len(cells)} faults and sizes, {trials} senders each, against {CURVE}, named from "
        f"probability {NAMED_FROM:g}; answers in per cent",
        columns=("measured", "fault", "size", "x smallest", *_HEADINGS, "good and is not"),
        rows=tuple(_row(cell) for cell in cells),
        merits=(*_merits(cells), *_bound_merits(most)),
        notes=(
            "Wrong and confident: another fault named, at any size; or, from the smallest nameable size on, "
            "called good while R25 or beta, as they stand, are out of the maker's tolerance, or something "
            "lies in series or beside the element. A smaller fault that is called good is one these points "
            "cannot see; its share is in the table.",
            "No smallest nameable size is stated for stem, thermometer and contact: theirs is in units of "
            "1.3 %, 1.5 K and 1 ohm. The first two leave the sender itself a good one; a contact that is "
            "called good is one that the burst could not see.",
            "Any classifier at most: the share that the best naming rule reaches at twice the smallest "
            "nameable size while no cell of another fault is called by that name in more than "
            f"{100.0 * GOAL_WRONG:g} %, for points as the diagnosis takes them to be (errors as stated). The "
            "senders of the table are measured in a world whose errors by hand are a little smaller.",
            *_limits(most),
        ),
        data={
            "cells": [_data(cell) for cell in cells],
            "bounds": {
                measured: {bound.words: bound.right for bound in some} for measured, some in most.items()
            },
        },
        draw=lambda figure: _draw(figure, cells),
    )  # fmt: skip


def _limits(most: dict[str, tuple[Bound, ...]]) -> Iterator[str]:
    for measured, some in most.items():
        for bound in some:
            if bound.limited_by and bound.right < GOAL_RIGHT:
                yield f"{measured}, {bound.words}: kept down by {', '.join(bound.limited_by)}."


def _merits(cells: list[Cell]) -> Iterator[FigureOfMerit]:
    twice = [cell for cell in cells if cell.has_goal and cell.multiple == GOAL_MULTIPLE]
    for measured, fault in dict.fromkeys((cell.measured, cell.fault) for cell in twice):
        either_way = [cell for cell in twice if (cell.measured, cell.fault) == (measured, fault)]
        yield FigureOfMerit(
            name=f"{measured}, {fault.value} {either_way[0].shown}"
            f"{', either way' if len(either_way) > 1 else ''}: named right",
            value=sum(cell.share(fault) for cell in either_way) / len(either_way),
            goal=GOAL_RIGHT,
            goal_is=Goal.AT_LEAST,
        )
    for measured in (HAND, BENCH):
        mine = [cell for cell in cells if cell.measured == measured]
        yield FigureOfMerit(
            name=f"{measured}: another fault named, worst of all sizes",
            value=max(cell.another_fault_named for cell in mine),
            goal=GOAL_WRONG,
        )
        yield FigureOfMerit(
            name=f"{measured}: another fault named or called good, worst from the smallest nameable size on",
            value=max(
                cell.another_fault_named + cell.wrongly_called_good for cell in mine if cell.is_nameable
            ),
            goal=GOAL_WRONG,
        )


def _bound_merits(most: dict[str, tuple[Bound, ...]]) -> Iterator[FigureOfMerit]:
    for measured, some in most.items():
        for bound in some:
            yield FigureOfMerit(
                name=f"{measured}, {bound.words}, twice the smallest: any classifier at most",
                value=bound.right,
            )


def _row(cell: Cell) -> tuple[str, ...]:
    return (
        cell.measured,
        cell.words,
        cell.shown,
        "" if cell.multiple is None else f"{cell.multiple:g}",
        *(_percent(cell.share(answer)) for answer in ANSWERS),
        _percent(cell.wrongly_called_good),
    )


def _percent(share: float) -> str:
    """Nothing where there was none, so that what is there is seen."""
    return f"{100.0 * share:.3g}" if share else ""


def _data(cell: Cell) -> dict[str, Any]:
    return {
        "measured": cell.measured,
        "fault": cell.words,
        "size": cell.shown,
        "multiple": cell.multiple,
        "truly_good": cell.truly_good,
        "answers": {answer.value: n for answer, n in sorted(cell.answers.items())},
    }


def _draw(figure: Any, cells: list[Cell]) -> None:
    """Share named right over size, one panel for each way of measuring."""
    panels = figure.subplots(1, 2, sharey=True)
    for panel, measured in zip(panels, (HAND, BENCH), strict=True):
        for words in dict.fromkeys(cell.words for cell in cells if cell.has_goal):
            mine = [cell for cell in cells if (cell.measured, cell.words) == (measured, words)]
            panel.semilogx(
                [cell.multiple for cell in mine], [cell.share(cell.fault) for cell in mine], ".-", label=words
            )
        panel.axhline(GOAL_RIGHT, linewidth=0.8, linestyle=":")
        panel.axvline(2.0, linewidth=0.8, linestyle=":")
        panel.set_title(measured)
        panel.set_xlabel("size / smallest nameable size")
    panels[0].set_ylabel("share named right")
    panels[1].legend()
