"""The dial table as it is printed in the terminal and as JSON."""

from collections.abc import Sequence
from typing import Any, TextIO

from rich.console import Console
from rich.table import Table
from rich.text import Text

from calibration.curves import ReferenceCurve
from calibration.rounding import decimals_of, rounded_text, two_digits
from calibration.temperature_scale import FAHRENHEIT_PER_K, fahrenheit_from_celsius
from calibration.vehicle.dial import DialRow
from calibration.vehicle.dialled_box import DialledBox
from host.check_report import WIDTH


def dial_data(curve: ReferenceCurve, box: DialledBox, rows: Sequence[DialRow]) -> dict[str, Any]:
    """Everything of a dial table, numbers as numbers."""
    return {
        "curve": curve.name,
        "curve_hash": curve.content_hash,
        "box": {
            "step_ohm": box.step_ohm,
            "residual_ohm": box.residual_ohm,
            "tolerance_percent": 100.0 * box.tolerance_relative,
            "tolerance_ohm": box.tolerance_ohm,
        },
        "rows": [_row_data(row) for row in rows],
    }


def _row_data(row: DialRow) -> dict[str, float]:
    return {
        "show_c": row.show_c,
        "show_f": fahrenheit_from_celsius(row.show_c),
        "curve_ohm": row.curve_ohm,
        "setting_ohm": row.setting_ohm,
        "shows_c": row.shows_c,
        "shows_f": fahrenheit_from_celsius(row.shows_c),
        "step_k": row.step_k,
        "step_f": row.step_f,
        "expanded_u_k": row.expanded_u_k,
        "k": row.k,
    }


def print_dial(curve: ReferenceCurve, box: DialledBox, rows: Sequence[DialRow], stream: TextIO) -> None:
    """Table for a terminal of 80 columns, each number with its own uncertainty or step."""
    console = Console(file=stream, width=WIDTH, highlight=False)
    console.print(Text(f"Dial for a computer that holds {curve.name}", style="bold"))
    console.print()
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for heading in ("show °C", "°F", "dial Ω", "it shows °C", "°F", "one step", "U °C", "U °F"):
        table.add_column(heading, justify="right", no_wrap=True)
    for row in rows:
        table.add_row(*_cells(row))
    console.print(table)
    console.print()
    for line in words_of(box):
        console.print(Text(line))


def words_of(box: DialledBox) -> tuple[str, ...]:
    """What was assumed, and how to use the table."""
    return (
        f"Assumed: the box is within {100.0 * box.tolerance_relative:g} % and {box.tolerance_ohm:g} Ω (U has "
        f"k = 2 or near it), its residual is {box.residual_ohm:g} Ω, and the computer holds this very curve.",
        "Ignition off while a plug is parted. The dialled box goes in place of the sender, not beside it; "
        "the radiator fan may start.",
        "A dash gauge sends far more current through its sender than a computer does: before a gauge, see "
        "what current the box's steps may carry.",
    )


def _cells(row: DialRow) -> tuple[str, ...]:
    places = decimals_of(row.expanded_u_k)
    u_f = FAHRENHEIT_PER_K * row.expanded_u_k
    step = f"{two_digits(row.step_k)} K ({two_digits(row.step_f)} °F)"
    return (
        f"{row.show_c:.4g}",
        f"{fahrenheit_from_celsius(row.show_c):.4g}",
        f"{row.setting_ohm:.10g}",
        rounded_text(row.shows_c, places),
        rounded_text(fahrenheit_from_celsius(row.shows_c), places),
        step,
        rounded_text(row.expanded_u_k, places),
        rounded_text(u_f, places),
    )
