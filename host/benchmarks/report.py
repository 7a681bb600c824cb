"""What a benchmark hands over: a table, figures of merit against their goals, and a drawing."""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Protocol

#: Told how much is done: done, total, and what is at work.
Progress = Callable[[int, int, str], None]

#: Draws into an empty matplotlib figure, which the command saves.
Draw = Callable[[Any], None]


class Goal(StrEnum):
    """Which way a figure of merit has to lie."""

    AT_LEAST = "at least"
    AT_MOST = "at most"


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureOfMerit:
    """One measured number and what it had to be.

    Attributes
    ----------
    name : str
        What was measured, with its unit in words.
    value : float
        As measured.
    goal : float or None
        None where the number is reported and nothing is asked of it.
    goal_is : Goal
    """

    name: str
    value: float
    goal: float | None = None
    goal_is: Goal = Goal.AT_MOST

    @property
    def reached(self) -> bool | None:
        """Whether the goal is reached; None where there is none. A number that is none never reaches one."""
        if self.goal is None:
            return None
        if math.isnan(self.value):
            return False
        return self.value >= self.goal if self.goal_is is Goal.AT_LEAST else self.value <= self.goal


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchmarkResult:
    """What one benchmark showed.

    Attributes
    ----------
    name, title : str
    seed : int
    counts : str
        What was done how often, in words: "20,000 plateau checks".
    columns : tuple[str, ...]
        Headings of the table.
    rows : tuple[tuple[str, ...], ...]
        Cells as printed.
    merits : tuple[FigureOfMerit, ...]
    notes : tuple[str, ...]
        What a reader must know: what is not reached, what was left out.
    data : Mapping[str, Any]
        Numbers behind the table, for the JSON file.
    draw : Callable
        Draws the figure.
    """

    name: str
    title: str
    seed: int
    counts: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    merits: tuple[FigureOfMerit, ...]
    draw: Draw
    notes: tuple[str, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)


class Benchmark(Protocol):
    """A seeded experiment."""

    @property
    def name(self) -> str:
        """Word it is chosen by."""
        ...

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Do it: the same seed gives the same numbers, save where time itself is measured."""
        ...


def no_progress(done: int, total: int, words: str) -> None:
    """Say nothing: for tests."""


def markdown(result: BenchmarkResult, *, machine: str, seconds: float) -> str:
    """The result as a Markdown section: counts, table, goals, notes."""
    lines = [
        f"## {result.title}",
        "",
        f"{result.counts}; seed {result.seed}; {seconds:.0f} s on {machine}.",
        "",
        *_table(result.columns, result.rows),
        "",
        *_table(("measured", "value", "goal", "reached"), [_merit_row(merit) for merit in result.merits]),
    ]
    if result.notes:
        lines += ["", *(f"* {note}" for note in result.notes)]
    return "\n".join(lines) + "\n"


def json_of(result: BenchmarkResult, *, machine: str, seconds: float) -> str:
    """The result as JSON."""
    fields = {
        "benchmark": result.name,
        "title": result.title,
        "seed": result.seed,
        "counts": result.counts,
        "machine": machine,
        "seconds": round(seconds, 2),
        "figures_of_merit": [
            {
                "name": merit.name,
                "value": merit.value if math.isfinite(merit.value) else None,
                "goal": merit.goal,
                "goal_is": merit.goal_is.value if merit.goal is not None else None,
                "reached": merit.reached,
            }
            for merit in result.merits
        ],
        "table": [dict(zip(result.columns, row, strict=True)) for row in result.rows],
        "notes": list(result.notes),
        "data": result.data,
    }
    return json.dumps(fields, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _merit_row(merit: FigureOfMerit) -> tuple[str, ...]:
    if merit.goal is None:
        return merit.name, f"{merit.value:.4g}", "", ""
    return (
        merit.name,
        f"{merit.value:.4g}",
        f"{merit.goal_is} {merit.goal:g}",
        "yes" if merit.reached else "NO",
    )


def _table(columns: tuple[str, ...], rows: Any) -> list[str]:
    head = "| " + " | ".join(columns) + " |"
    rule = "| " + " | ".join("---" for _ in columns) + " |"
    return [head, rule, *("| " + " | ".join(row) + " |" for row in rows)]
