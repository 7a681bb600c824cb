"""A table for other programs, written line by line.

CSV has units in its header, a decimal point, ISO 8601 times with their offset, and begins with the mark by
which spreadsheets know UTF-8. A text that a spreadsheet would run as a formula gets an apostrophe before it.
"""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal
from enum import StrEnum
from typing import Any

from host.errors import DeskError

_MARK = "\ufeff"
# What begins a formula in one spreadsheet or another, in plain and in full width, also after white space.
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "|", "%")
_CONTROL = ("\t", "\r", "\n")


class Form(StrEnum):
    """How a table is written."""

    CSV = "csv"
    JSON = "json"

    @property
    def mimetype(self) -> str:
        """For a page."""
        return "text/csv; charset=utf-8" if self is Form.CSV else "application/json"


def form_of(name: str) -> Form:
    """Form of a file by the end of its name.

    Raises
    ------
    DeskError
        If it is neither.
    """
    for form in Form:
        if name.lower().endswith(f".{form.value}"):
            return form
    raise DeskError(f"{name}: let the name end in .csv or .json.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name in data, which carries the unit, and the unit as a header shows it."""

    name: str
    unit: str = ""

    @property
    def header(self) -> str:
        """For the first line of CSV."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns, and rows that are made while they are written."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Any]]


def written(table: Table, form: Form) -> Iterator[str]:
    """Text of a table, a piece a row."""
    return _csv(table) if form is Form.CSV else _json(table)


def iso_time(utc_s: float | None, zone: tzinfo | None) -> str | None:
    """ISO 8601 with the offset of the shop; None where the time is not known."""
    if utc_s is None:
        return None
    return datetime.fromtimestamp(utc_s, zone).astimezone(zone).isoformat(timespec="milliseconds")


def safe_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    text = text.replace("\x00", "")
    bare = text.lstrip()
    risky = bare.startswith(_FORMULA) or text.startswith(_CONTROL)
    return f"'{text}" if risky else text


def _csv(table: Table) -> Iterator[str]:
    line = io.StringIO()
    writer = csv.writer(line)

    def taken() -> str:
        text = line.getvalue()
        line.seek(0)
        line.truncate()
        return text

    writer.writerow([column.header for column in table.columns])
    yield _MARK + taken()
    for row in table.rows:
        writer.writerow([_cell(value) for value in row])
        yield taken()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | int):
        return repr(value)  # a number begins with a minus and is none the less no formula
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, str):
        return safe_text(value)
    return safe_text(json.dumps(value, ensure_ascii=False, sort_keys=True))


def _json(table: Table) -> Iterator[str]:
    names = [column.name for column in table.columns]
    units = {column.name: column.unit for column in table.columns if column.unit}
    head = json.dumps({"table": table.name, "units": units}, ensure_ascii=False)
    yield f'{head[:-1]}, "rows": ['
    between = "\n"
    for row in table.rows:
        whole = dict(zip(names, row, strict=True))
        yield between + json.dumps(whole, ensure_ascii=False, allow_nan=False, default=float)
        between = ",\n"
    yield "\n]}\n"
