"""A table of a service manual as a person types it, turned into the text of a reference curve."""

import csv
import json
import math
import re
from collections.abc import Mapping, Sequence

from calibration.curves.curve_file import UNKNOWN
from calibration.errors import CurveError

#: Far more rows than any manual prints.
MOST_ROWS = 200
#: The columns a pasted table may name; without a heading they are told by their number.
COLUMNS = ("temperature_c", "temperature_f", "resistance_ohm", "resistance_kohm", "min_ohm", "max_ohm")
_WITHOUT_HEADING = {
    2: ("resistance_ohm",),
    3: ("min_ohm", "max_ohm"),
    4: ("min_ohm", "resistance_ohm", "max_ohm"),
}
_TEMPERATURES = ("temperature_c", "temperature_f")
_KILO = 1000.0
# Limits printed for a good part never lie so far apart; a decimal comma taken for a separator does.
_LIMITS_APART = 3.0


def curve_text_of_table(
    *,
    title: str,
    source: str,
    table: str,
    temperatures_in_f: bool = False,
    tolerance_percent: float | None = None,
    wiring: str = "",
    allowed_current_ma: float | None = None,
    note: str = "",
) -> str:
    """TOML of a curve whose table was typed or pasted.

    Parameters
    ----------
    title, source : str
        What it is of, and the document it was printed in.
    table : str
        One row a line: temperature and ohms; or temperature, least and largest ohms; or temperature, least,
        nominal and largest. Between them commas, semicolons, tabs or spaces. A first line of column names
        (`COLUMNS`) may say it in another order.
    temperatures_in_f : bool
        Where no heading says which scale it is.
    tolerance_percent : float, optional
        Printed limits of resistance, where they are one percentage. [%]
    wiring, note : str
    allowed_current_ma : float, optional
        Largest measuring current, as printed. [mA]

    Raises
    ------
    CurveError
        If a line cannot be read; the message names it. Whether the rows make a curve is asked of
        `calibration.curves.curve_from_toml`.
    """
    rows = _rows(table, "temperature_f" if temperatures_in_f else "temperature_c")
    limited = any("min_ohm" in row for row in rows)
    if limited and tolerance_percent is not None:
        raise CurveError(
            "The table has limits of its own: leave the percentage empty, or leave the limits out."
        )
    lines = [
        f"title = {_quoted(title)}",
        f"source = {_quoted(source)}",
        f"tolerance = {_quoted(_tolerance_words(limited, tolerance_percent))}",
        *([] if tolerance_percent is None else [f"tolerance_percent = {_number_text(tolerance_percent)}"]),
        f"wiring = {_quoted(wiring or UNKNOWN)}",
        f"allowed_current_ma = {_current(allowed_current_ma)}",
        *([f"note = {_quoted(note)}"] if note else []),
        "rows = [",
        *(
            f"  {{ {', '.join(f'{key} = {_number_text(value)}' for key, value in row.items())} }},"
            for row in rows
        ),
        "]",
    ]
    return "\n".join(lines) + "\n"


def name_of_title(title: str) -> str:
    """Name that suits a title: its letters and digits, hyphens between them."""
    words = re.findall(r"[a-z0-9]+", title.lower())
    return "own-" + "-".join(words)[:36].strip("-") if words else ""


def _rows(table: str, temperature_column: str) -> list[dict[str, float]]:
    lines = [(number, line) for number, line in enumerate(table.splitlines(), start=1) if line.strip()]
    if not lines:
        raise CurveError("The table is empty. Type one row a line, for example: 20, 2500")
    columns = _heading(lines[0][1])
    if columns is not None:
        lines = lines[1:]
    if len(lines) > MOST_ROWS:
        raise CurveError(f"{len(lines)} rows are more than any manual prints ({MOST_ROWS} at most).")
    return [_row(number, _cells(line), columns, temperature_column) for number, line in lines]


def _heading(line: str) -> tuple[str, ...] | None:
    """Column names of the first line, None where it is a row already."""
    cells = [cell.lower() for cell in _cells(line)]
    if not re.search(r"[a-z]", line.lower()):
        return None
    unknown = [cell for cell in cells if cell not in COLUMNS]
    if unknown or len(set(cells)) < len(cells):
        raise CurveError(
            f"line 1: {', '.join(unknown) or 'a column named twice'}. Known columns: {', '.join(COLUMNS)}; "
            "or leave the heading out."
        )
    if not any(name in cells for name in _TEMPERATURES):
        raise CurveError("line 1: no temperature_c or temperature_f among the columns.")
    return tuple(cells)


def _row(
    number: int, cells: Sequence[str], columns: tuple[str, ...] | None, temperature_column: str
) -> dict[str, float]:
    if columns is None:
        beside = _WITHOUT_HEADING.get(len(cells))
        if beside is None:
            raise CurveError(
                f"line {number}: {len(cells)} numbers. Type temperature and ohms, or temperature, least and "
                "largest ohms."
            )
        columns = (temperature_column, *beside)
    if len(cells) != len(columns):
        raise CurveError(f"line {number}: {len(cells)} numbers where there are {len(columns)} columns.")
    row = {name: _number(cell, number) for name, cell in zip(columns, cells, strict=True)}
    least, largest = row.get("min_ohm"), row.get("max_ohm")
    if least is not None and largest is not None and largest > _LIMITS_APART * least:
        raise CurveError(
            f"line {number}: limits of {least:g} and {largest:g} Ω lie too far apart. Write decimals with a "
            "point, and the least ohms before the largest."
        )
    return _in_ohms(row)


def _in_ohms(row: Mapping[str, float]) -> dict[str, float]:
    plain = {name: value for name, value in row.items() if name != "resistance_kohm"}
    if "resistance_kohm" in row:
        plain["resistance_ohm"] = row["resistance_kohm"] * _KILO
    return plain


def _cells(line: str) -> list[str]:
    """Cells of a line; a decimal comma between semicolons or tabs is one, between spaces it is refused."""
    for separator in (";", "\t"):
        if separator in line:
            return [cell.strip().replace(",", ".") for cell in line.split(separator)]
    if "," in line:
        return [cell.strip() for cell in next(csv.reader([line]))]
    return line.split()


def _number(cell: str, line: int) -> float:
    try:
        number = float(cell.replace("\u2212", "-"))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise CurveError(f"line {line}: {cell!r:.20} is no number.")
    return number


def _tolerance_words(limited: bool, percent: float | None) -> str:
    if limited:
        return "resistance limits as printed"
    return UNKNOWN if percent is None else f"±{percent:g} % of the resistance"


def _current(allowed_current_ma: float | None) -> str:
    return _quoted(UNKNOWN) if allowed_current_ma is None else _number_text(allowed_current_ma)


def _number_text(number: float) -> str:
    return repr(float(number))


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string, once the one control character that JSON lets through is gone.
    return json.dumps(" ".join(text.split()).replace("\x7f", ""), ensure_ascii=False)
