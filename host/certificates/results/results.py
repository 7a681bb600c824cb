"""Tables, bars, strips and budgets of a certificate, the same shape for every kind."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from calibration.conformity import Verdict
from calibration.station_round import Agreement
from calibration.uncertainty.budget import Budget
from host.certificates.certificate import Coefficient, Witness


class Role(StrEnum):
    """What a column of numbers is to the result."""

    #: Set or written on the item; has no uncertainty.
    NOMINAL = "nominal"
    #: Given by the reference.
    REFERENCE = "reference"
    #: Said by the item.
    SHOWN = "shown"
    #: The result itself.
    ERROR = "error"
    #: A requirement, not a measurement.
    LIMIT = "limit"
    #: Worked out from the others; no measurement of its own.
    DERIVED = "derived"
    #: The same as another column in another unit or with the other sign, for people.
    REPEATED = "repeated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One quantity over all rows of a table.

    Attributes
    ----------
    key : str
        Short name in data: "error".
    name, unit : str
        As printed.
    role : Role
    texts : tuple[str, ...]
        In the characters of the paper; empty where a row has none.
    values : tuple[float | None, ...]
        In full. [unit]
    expanded_u : tuple[float, ...]
        Of each value; empty where there is none. [unit]
    u_texts : tuple[str, ...]
        The same as printed.
    k : tuple[float, ...]
        Coverage factors of these, where they are not those of the row.
    prints_u : bool
        True where the paper has a column for it; else it is that of the error, which holds it.
    """

    key: str
    name: str
    unit: str
    role: Role
    texts: tuple[str, ...]
    values: tuple[float | None, ...] = ()
    expanded_u: tuple[float, ...] = ()
    u_texts: tuple[str, ...] = ()
    prints_u: bool = False
    k: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultTable:
    """Rows of results.

    Attributes
    ----------
    title : str
        Empty where there is one table only.
    labels : tuple[tuple[str, tuple[str, ...]], ...]
        Columns of words before the numbers: name and words.
    columns : tuple[Column, ...]
    k : tuple[float, ...]
        Coverage factor of each row.
    verdicts : tuple[Verdict | Agreement | None, ...]
        Against a limit, or with the others.
    note : str
    """

    title: str
    labels: tuple[tuple[str, tuple[str, ...]], ...]
    columns: tuple[Column, ...]
    k: tuple[float, ...]
    verdicts: tuple[Verdict | Agreement | None, ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorBar:
    """One bar of the chart: where, the error with its expanded uncertainty, and its limits."""

    at: float
    error: float
    expanded_u: float
    limits: tuple[float | None, float | None]
    verdict: Verdict | Agreement | None
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """A chart of errors.

    Attributes
    ----------
    bars : tuple[ErrorBar, ...]
    title, across : str
        Above the chart, and along its axis.
    names : tuple[str, ...]
        Names along the axis in place of numbers; empty for numbers.
    is_logarithmic : bool
        Along the axis.
    """

    bars: tuple[ErrorBar, ...]
    title: str
    across: str
    names: tuple[str, ...] = ()
    is_logarithmic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StripBar:
    """One bar of a strip.

    Attributes
    ----------
    name : str
    value, expanded_u : float
        [unit of the strip]
    agreement : Agreement or None
        With what it is held against, where that was worked out; None where the bars alone tell it.
    difference : float or None
        From that, where it is not the first bar. [unit of a difference]
    """

    name: str
    value: float
    expanded_u: float
    agreement: Agreement | None = None
    difference: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """An agreement strip and what its last bar was judged as.

    Attributes
    ----------
    title : str
    bars : tuple[StripBar, ...]
        The reference first.
    verdict : Verdict or None
    unit : str
        "°C", "K" or "Ω".
    """

    title: str
    bars: tuple[StripBar, ...]
    verdict: Verdict | None
    unit: str = "°C"

    @classmethod
    def of_witnesses(cls, title: str, witnesses: Sequence[Witness], verdict: Verdict | None) -> Self:
        """Strip of thermometers."""
        return cls(title=title, bars=bars_of(witnesses), verdict=verdict)


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedBudget:
    """Budget of one result by a long and a short name, and what part of the limit error and U take."""

    title: str
    short: str
    budget: Budget
    part_of_limit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Words under a heading, and coefficients where there are any."""

    title: str
    lines: tuple[str, ...]
    coefficients: tuple[Coefficient, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """All that a body says.

    Attributes
    ----------
    measurand : str
        What was measured, in words, for the machine's result.
    tables : tuple[ResultTable, ...]
    bars : Bars or None
    strips : tuple[Strip, ...]
    budgets : tuple[StatedBudget, ...]
    facts : tuple[tuple[str, str], ...]
        Of the item, beside its name.
    identification : str
        Serial of the item, where a field of its own holds it.
    sections : tuple[Section, ...]
    wrong : tuple[tuple[str, str, float], ...]
        Where, how likely the statement there is wrong as printed, and in full.
    headline : str
        Stands at the head of the paper where nothing is held against a limit; empty for the usual line.
    strips_words : str
        What the bars of the strips are; empty where they are a value and its U.
    """

    measurand: str
    tables: tuple[ResultTable, ...]
    bars: Bars | None = None
    strips: tuple[Strip, ...] = ()
    budgets: tuple[StatedBudget, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    identification: str = ""
    sections: tuple[Section, ...] = ()
    wrong: tuple[tuple[str, str, float], ...] = ()
    headline: str = ""
    strips_words: str = ""

    @property
    def has_limits(self) -> bool:
        """Whether a result is held against a limit."""
        return any(column.role is Role.LIMIT for table in self.tables for column in table.columns)

    def worst(self) -> StatedBudget | None:
        """The budget whose result is nearest to its limit, or furthest beyond it."""
        return max(self.budgets, key=lambda one: one.part_of_limit, default=None)


def bars_of(witnesses: Sequence[Witness]) -> tuple[StripBar, ...]:
    """Thermometers as bars of a strip in °C."""
    return tuple(
        StripBar(name=one.name, value=one.temperature_c, expanded_u=one.expanded_u_k) for one in witnesses
    )


def texts_of(rows: Sequence[dict[str, str]], key: str) -> tuple[str, ...]:
    """One column of the reported characters."""
    return tuple(row.get(key, "") for row in rows)


def part_of_limit(error: float, expanded_u: float, limit: float | None) -> float:
    """What part of the limit error and uncertainty take; without a limit, their size."""
    return (abs(error) + expanded_u) / (1.0 if limit is None else limit)


def both_limits(limit: float | None) -> tuple[float | None, float | None]:
    """Lowest and highest permitted error of a limit with two like sides."""
    return (None, None) if limit is None else (-limit, limit)
