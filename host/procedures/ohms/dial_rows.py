"""What was typed of a decade box and a meter: one setting of the dials a line, and what the meter showed."""

import re
from collections.abc import Sequence

from calibration.resistance.meter_and_box import DialReading
from host.errors import DeskError

_MOST_LINES = 80
_MOST_READINGS = 12
_NUMBER = re.compile(r"(\d+)(?:\.(\d*))?")
_HIGHEST_OHM = 1e8


def dial_rows_of(text: str) -> tuple[DialReading, ...]:
    """Settings in rising order.

    Raises
    ------
    DeskError
        If a line cannot be read, or a setting stands twice; names the line.
    """
    rows: dict[float, DialReading] = {}
    lines = [(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if len(lines) > _MOST_LINES:
        raise DeskError(f"Write {_MOST_LINES} lines at most; there are {len(lines)}.")
    for number, line in lines:
        setting, *shown = _cells(line, number)
        if not shown:
            raise DeskError(f"Line {number}: write what the meter showed behind the setting, “1000 999.8”.")
        row = _row(setting, shown, number)
        if row.setting_ohm in rows:
            raise DeskError(
                f"Line {number}: {row.setting_ohm:g} Ω stands twice; write all its readings in one."
            )
        rows[row.setting_ohm] = row
    return tuple(rows[ohm] for ohm in sorted(rows))


def joined_leads_of(text: str) -> DialReading | None:
    """What the meter showed with the leads joined, None where nothing is typed: four wires.

    Raises
    ------
    DeskError
        If it cannot be read.
    """
    cells = _cells(text, 1)
    return _row("0", cells, 1) if cells else None


def _cells(line: str, number: int) -> list[str]:
    if re.search(r"\d,\d", line):  # 30,5 may be one number or two: never guess
        raise DeskError(f"Line {number}: write decimals with a point and spaces between numbers.")
    return [cell for cell in re.split(r"[\s;,]+", line.strip()) if cell]


def _row(setting: str, shown: Sequence[str], number: int) -> DialReading:
    if len(shown) > _MOST_READINGS:
        raise DeskError(f"Line {number}: write {_MOST_READINGS} readings at most.")
    setting_ohm, _ = _ohms(setting, number)
    if setting_ohm != round(setting_ohm):
        raise DeskError(f"Line {number}: {setting} Ω is no setting of dials; write a whole number of ohms.")
    readings = [_ohms(cell, number) for cell in shown]
    row = DialReading(
        setting_ohm=setting_ohm,
        shown_ohm=tuple(ohm for ohm, _ in readings),
        # The coarsest of them: where one was typed without its zeros, the digit is not known better.
        resolution_ohm=max(digit for _, digit in readings),
    )
    if setting_ohm and not 0.5 < row.mean_ohm / setting_ohm < 2.0:
        raise DeskError(
            f"Line {number}: the meter showed {row.mean_ohm:g} Ω at {setting_ohm:g} Ω. Look for kilohms or a "
            "slipped digit."
        )
    return row


def _ohms(cell: str, number: int) -> tuple[float, float]:
    """Resistance and its last digit, of ``999.8`` or ``0.9998k``. [Ω]"""
    text = cell.lower().removesuffix("ω").removesuffix("ohm")
    factor = 1.0
    for letter, value in (("k", 1e3), ("m", 1e6)):
        if text.endswith(letter) and (letter == "k" or cell.rstrip("Ωω").endswith("M")):
            text, factor = text[:-1], value
    match = _NUMBER.fullmatch(text)
    if match is None or float(text) * factor > _HIGHEST_OHM:
        raise DeskError(
            f"Line {number}: {cell!r:.20} is no resistance. Write 999.8 or 0.9998k, as displayed."
        )
    return float(text) * factor, factor * 10.0 ** -len(match[2] or "")
