"""How often the diagnosis names the right fault, and how often a wrong one, from barely visible to gross."""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import NAMED_FROM, Fault, MeasuredPoints, attribute
from calibration.diagnosis.curve_view import coincide, view_of
from calibration.errors import CurveRangeError
from host.benchmarks.attribution_world import (
    BENCH_C,
    HAND_C,
    Bench,
    Planted,
    Sender,
    draw_sender,
    measured_by_hand,
)
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Goal, Progress

CURVE = "ntc-2k5-20c"
GOAL_RIGHT, GOAL_WRONG = 0.90, 0.02
#: Sizes, in units of the smallest nameable one.
MULTIPLES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
QUICK_MULTIPLES = (1.0, 2.0)
TRIALS, QUICK_TRIALS = 400, 40

HAND, BENCH = "by hand", "bench"

#: From a sender, what is planted and chance to points.
_Measure = Callable[[Sender, Planted, np.random.Generator], MeasuredPoints]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """Sizes of one fault for one way of measuring.

    Attributes
    ----------
    fault : Fault
    words : str
        With the unit.
    smallest : float
        Smallest nameable size; a leakage in siemens.
    has_goal : bool
        Whether the method gives a smallest nameable size for it.
    planted : callable
        From a size to what is planted.
    shown : callable
        Size in words.
    most : float
        Largest multiple that still is this fault.
    """

    fault: Fault
    words: str
    smallest: float
    has_goal: bool
    planted: Callable[[float], Planted]
    shown: Callable[[float], str]
    most: float = math.inf


def _percent(size: float) -> str:
    return f"{100.0 * size:.3g} %"


def _ohm(size: float) -> str:
    return f"{size:.3g} Ω"


def _kilohm_of_siemens(size: float) -> str:
    return f"{1e-3 / size:.3g} kΩ"


def _kelvin(size: float) -> str:
    return f"{size:.3g} K"


def ladders(measured: str) -> tuple[Ladder, ...]:
    """Faults with their sizes; the smallest nameable ones are the method's, of its section 6."""
    by_hand = measured == HAND
    r25, beta = (0.10, 0.034) if by_hand else (0.08, 0.015)
    series, leakage = (52.0, 1.0 / 24e3) if by_hand else (2.6, 1.0 / 150e3)
    return (
        Ladder(fault=Fault.R25, words="R25 high", smallest=r25, has_goal=True,
               planted=lambda s: Planted(r25=s), shown=_percent),
        Ladder(fault=Fault.R25, words="R25 low", smallest=r25, has_goal=True,
               planted=lambda s: Planted(r25=-s), shown=_percent, most=4.0),
        Ladder(fault=Fault.BETA, words="beta steeper", smallest=beta, has_goal=True,
               planted=lambda s: Planted(beta=s), shown=_percent, most=4.0),
        Ladder(fault=Fault.BETA, words="beta flatter", smallest=beta, has_goal=True,
               planted=lambda s: Planted(beta=-s), shown=_percent, most=4.0),
        Ladder(fault=Fault.SERIES, words="series", smallest=series, has_goal=True,
               planted=lambda s: Planted(series_ohm=s), shown=_ohm),
        Ladder(fault=Fault.LEAKAGE, words="leakage", smallest=leakage, has_goal=True,
               planted=lambda s: Planted(leakage_ohm=1.0 / s), shown=_kilohm_of_siemens),
        Ladder(fault=Fault.STEM_OR_THERMOMETER, words="thermometer high", smallest=1.5, has_goal=False,
               planted=lambda s: Planted(thermometer_k=s), shown=_kelvin, most=4.0),
        Ladder(fault=Fault.STEM_OR_THERMOMETER, words="stem", smallest=0.013, has_goal=False,
               planted=lambda s: Planted(stem_share=s), shown=_percent, most=2.0),
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
        """Whether the fault is at least of the smallest nameable size."""
        return self.multiple is None or self.multiple >= 1.0

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
        progress(len(plans), len(plans), "done")
        return _result(cells, seed, trials)


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
        for fault, words in ((Fault.HEALTHY, "healthy"), (Fault.ANOTHER_CURVE, "another curve")):
            yield _Plan(measured=measured, words=words, shown="", fault=fault, multiple=None, has_goal=False,
                        planted=Planted())  # fmt: skip
        for ladder in ladders(measured):
            for multiple in multiples:
                if multiple <= ladder.most:
                    size = multiple * ladder.smallest
                    yield _Plan(measured=measured, words=ladder.words, shown=ladder.shown(size),
                                fault=ladder.fault, multiple=multiple, has_goal=ladder.has_goal,
                                planted=ladder.planted(size))  # fmt: skip


def _cell(
    plan: _Plan,
    curve: ReferenceCurve,
    library: list[ReferenceCurve],
    trials: int,
    chance: np.random.Generator,
) -> Cell:
    measure: _Measure = measured_by_hand if plan.measured == HAND else Bench(curve).measured
    temperatures_c = HAND_C if plan.measured == HAND else BENCH_C
    parts = [curve]
    if plan.fault is Fault.ANOTHER_CURVE:
        parts = _others(curve, library, temperatures_c)
    answers: Counter[Fault] = Counter()
    truly_good = 0
    for trial in range(trials):
        sender = draw_sender(parts[trial % len(parts)], plan.planted, chance)
        answer = attribute(measure(sender, plan.planted, chance), curve, library=library).answer.fault
        answers[answer] += 1
        is_of_the_curve = plan.fault is not Fault.ANOTHER_CURVE
        truly_good += answer is Fault.HEALTHY and is_of_the_curve and sender.keeps_tolerance
    return Cell(measured=plan.measured, words=plan.words, shown=plan.shown, fault=plan.fault,
                multiple=plan.multiple, has_goal=plan.has_goal, answers=answers,
                truly_good=truly_good)  # fmt: skip


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


def _result(cells: list[Cell], seed: int, trials: int) -> BenchmarkResult:
    return BenchmarkResult(
        name="attribution",
        title="Naming the fault",
        seed=seed,
        counts=f"{len(cells)} faults and sizes, {trials} senders each, against {CURVE}, named from "
        f"probability {NAMED_FROM:g}",
        columns=("measured", "fault", "size", "x smallest", "named right", "cannot tell", "called good",
                 "and is not", "another fault named"),
        rows=tuple(_row(cell) for cell in cells),
        merits=tuple(_merits(cells)),
        notes=(
            "Wrong and confident: another fault named, at any size; or, from the smallest nameable size on, "
            "called good while R25 or beta, as they stand, are out of the maker's tolerance, or something "
            "lies in series or beside the element. A smaller fault that is called good is one these points "
            "cannot see; its share is in the table.",
            "No smallest nameable size is stated for stem and thermometer: theirs is in units of 1.3 % and "
            "1.5 K. They leave the sender itself a good one.",
        ),
        data={"cells": [_data(cell) for cell in cells]},
        draw=lambda figure: _draw(figure, cells),
    )  # fmt: skip


def _merits(cells: list[Cell]) -> Iterator[FigureOfMerit]:
    twice = [cell for cell in cells if cell.has_goal and cell.multiple == 2.0]
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


def _row(cell: Cell) -> tuple[str, ...]:
    return (
        cell.measured,
        cell.words,
        cell.shown,
        "" if cell.multiple is None else f"{cell.multiple:g}",
        f"{100.0 * cell.share(cell.fault):.1f} %",
        f"{100.0 * cell.share(Fault.CANNOT_TELL):.1f} %",
        f"{100.0 * cell.called_good:.1f} %",
        f"{100.0 * cell.wrongly_called_good:.1f} %",
        f"{100.0 * cell.another_fault_named:.1f} %",
    )


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
