"""A budget as a table of texts: what a certificate, a page and a terminal all print."""

import math
from dataclasses import dataclass

from calibration.rounding import decimals_of, rounded_text
from calibration.uncertainty.budget import Budget, BudgetLine, Shape

#: More degrees of freedom than this are not worth their digits.
MANY = 10_000

_SHAPE_WORDS = {
    Shape.STUDENT: "Student's t at the effective degrees of freedom",
    Shape.RECTANGLE: "one rectangle rules the budget",
    Shape.TRAPEZOID: "two rectangles rule the budget: a trapezoid",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetTable:
    """A budget, printed.

    Attributes
    ----------
    header : tuple[str, ...]
    rows : tuple[tuple[str, ...], ...]
        One for each line, largest contribution first.
    result : tuple[tuple[str, str], ...]
        What they come to: name and value.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    result: tuple[tuple[str, str], ...]

    def text(self, *columns: str) -> str:
        """The table in fixed columns: words flush left, numbers flush right.

        Parameters
        ----------
        *columns : str
            Headings to print, in order; all where none is named.

        Raises
        ------
        ValueError
            If there is no such heading.
        """
        places = [self.header.index(column) for column in columns] or list(range(len(self.header)))
        grid = [[row[place] for place in places] for row in (self.header, *self.rows)]
        widths = [max(map(len, column)) for column in zip(*grid, strict=True)]
        lines = [
            "  ".join(
                text.ljust(width) if place in _FLUSH_LEFT else text.rjust(width)
                for text, width, place in zip(row, widths, places, strict=True)
            )
            for row in grid
        ]
        result = [f"{name}: {value}" for name, value in self.result]
        return "\n".join([*(line.rstrip() for line in lines), *result])


# quantity, unit and shape; all others are numbers.
_FLUSH_LEFT = frozenset({0, 2, 4})


def table_of(budget: Budget) -> BudgetTable:
    """Table of a budget, numbers rounded to what they are worth.

    Contributions are printed in the unit of the result, to one place more than its expanded uncertainty;
    shares are of the variance.
    """
    places = decimals_of(budget.expanded_u)
    lines = sorted(budget.lines, key=lambda line: -line.contribution)
    return BudgetTable(
        header=(
            "quantity", "estimate", "unit", "u", "shape", "dof", "sensitivity",
            f"adds [{_difference(budget)}]", "share",
        ),
        rows=tuple(_row(line, budget, places + 1) for line in lines),
        result=(
            ("result", f"{rounded_text(budget.estimate, places)} {budget.unit}"),
            ("standard uncertainty", f"{rounded_text(budget.standard_u, places + 1)} {_difference(budget)}"),
            ("effective degrees of freedom", _whole(budget.degrees_of_freedom)),
            ("coverage factor", f"{budget.k:.2f} (95.45 %; {_SHAPE_WORDS[budget.shape]})"),
            ("expanded uncertainty", f"{rounded_text(budget.expanded_u, places)} {_difference(budget)}"),
        ),
    )  # fmt: skip


def _row(line: BudgetLine, budget: Budget, places: int) -> tuple[str, ...]:
    shown = decimals_of(line.standard_u) if line.standard_u > 0.0 else 1
    return (
        line.quantity,
        rounded_text(line.estimate, min(max(shown, 0), 9)),
        line.unit,
        rounded_text(line.standard_u, shown),
        line.distribution.value,
        _whole(line.degrees_of_freedom),
        f"{line.sensitivity:.3g}",
        rounded_text(line.contribution, places),
        f"{100.0 * (line.contribution / budget.standard_u) ** 2:.0f} %",
    )


def _difference(budget: Budget) -> str:
    # A difference of temperatures is in kelvin, whatever scale the result is on.
    return "K" if budget.unit == "°C" else budget.unit


def _whole(degrees_of_freedom: float) -> str:
    if math.isinf(degrees_of_freedom):
        return "∞"
    return f"{math.floor(degrees_of_freedom)}" if degrees_of_freedom < MANY else f"over {MANY}"
