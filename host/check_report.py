"""A hand check as it is printed in the terminal and as JSON."""

from pathlib import Path
from typing import Any, TextIO

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from calibration.conformity import Verdict
from calibration.diagnosis import Finding, why_words
from calibration.rounding import decimals_of, rounded_text, tabled_limit_text
from calibration.sender_point import SenderPoint
from calibration.temperature_scale import fahrenheit_from_celsius
from calibration.thermistor.fit import FitPoint
from host.fit_words import coefficient_lines, equation_words, fit_data, residual_words
from host.one_line import json_text
from host.pictures.verdict_shape import SHAPES
from host.point_data import point_data
from host.points_file import TypedDead
from host.typed_check import TypedCheck, not_read_words
from host.verdict_words import RULE_WORDS

WIDTH = 80


def check_json(check: TypedCheck, certificate: Path | None) -> str:
    """Everything of a check, numbers as numbers."""
    fields: dict[str, Any] = {
        "verdict": None if check.verdict is None else check.verdict.value,
        "reason": check.reason or None,
        "rule": check.rule.value,
        "curve": check.curve.name,
        "curve_hash": check.curve.content_hash,
        "tolerance": check.limit_words,
        "points": [_point_data(point, used) for point, used in zip(check.points, check.used, strict=True)],
        "not_read": [_not_read_data(dead) for dead in check.file.dead],
        "notes": [*check.notes, *check.remarks],
        "fit": None if check.fit is None else fit_data(check.fit),
        "fit_trouble": check.fit_trouble or None,
        "certificate": None if certificate is None else str(certificate),
        "certificate_is_sealed": None if certificate is None else False,
        "diagnosis": [_finding_data(finding) for finding in check.diagnosis.findings],
        "why": list(why_words(check.diagnosis, check.curve)),
    }
    return json_text(fields)


def print_check(check: TypedCheck, certificate: Path | None, stream: TextIO) -> None:
    """Table, coefficients and verdict, for a terminal of 80 columns."""
    console = Console(file=stream, width=WIDTH, highlight=False)
    limits = (
        check.limit_words if check.limit_words != check.curve.tolerance else f"limits: {check.limit_words}"
    )
    console.print(Text(f"Sender against {check.curve.name}, {limits}", style="bold"))
    console.print()
    console.print(_table(check))
    console.print()
    for line in (*check.notes, *check.remarks, *unused_words(check.file.unused_columns)):
        console.print(Text(line))
    console.print()
    _print_fit(check, console)
    console.print()
    console.print(Text(RULE_WORDS[check.rule]))
    if certificate is not None:
        console.print(Text(f"Certificate: {certificate}"))
    console.print()
    if check.verdict is None:
        console.print(Text(f"No result. {check.reason}", style="bold"))
    else:
        console.print(Text(f"{SHAPES[check.verdict]} Verdict: {check.verdict.words}", style="bold"))
        console.print(Text(check.sentence))
    if check.verdict is Verdict.NOT_DECIDED and not check.is_open_by_what_was_not_read:
        console.print(Text("A surer thermometer, meter or bath would decide it."))
    if check.verdict is not Verdict.IN_TOLERANCE or check.diagnosis.names_a_fault:
        console.print()
        console.print(Text("Why", style="bold"))
        for line in why_words(check.diagnosis, check.curve):
            console.print(Text(line))


def unused_words(columns: tuple[str, ...]) -> tuple[str, ...]:
    """What is said of columns that nobody reads."""
    named = [column for column in columns if column]
    return (f"Not used: column {', '.join(named)}.",) if named else ()


def _table(check: TypedCheck) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="dim")
    for heading in ("°C", "°F", "Ω", "shows °C", "error K", "in R", "U K", "limit K"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    # Both in the order of the file.
    judged = zip((typed.row for typed in check.file.typed), map(_cells, check.points), strict=True)
    not_read = ((dead.row, _dead_cells(dead)) for dead in check.file.dead)
    for _, cells in sorted([*judged, *not_read]):
        table.add_row(*cells)
    return table


def _dead_cells(dead: TypedDead) -> tuple[str, ...]:
    temperature_c = dead.point.temperature_c
    fahrenheit = rounded_text(fahrenheit_from_celsius(temperature_c), 1)
    return rounded_text(temperature_c, 1), fahrenheit, dead.typed, "", "", "", "", "", "not judged"


def _cells(point: SenderPoint) -> tuple[str, ...]:
    places = decimals_of(point.expanded_u_k)
    return (
        rounded_text(point.temperature_c, places),
        rounded_text(fahrenheit_from_celsius(point.temperature_c), places),
        f"{point.resistance_ohm:.6g}",
        rounded_text(point.indicated_c, places),
        _signed(point.error_k, places),
        f"{_signed(point.deviation_percent, 1)} %",
        rounded_text(point.expanded_u_k, places),
        tabled_limit_text(point.limit_k, point.expanded_u_k),
        f"{SHAPES[point.verdict]} {point.verdict.words}",
    )


def _signed(number: float, places: int) -> str:
    text = rounded_text(number, places)
    return f"+{text}" if number > 0.0 and text.strip("0.") else text


def _print_fit(check: TypedCheck, console: Console) -> None:
    if check.fit is None:
        console.print(Text(f"No curve fitted. {check.fit_trouble}"))
        return
    console.print(Text(f"Fitted to these points: {equation_words(check.fit.model)}"))
    for line in coefficient_lines(check.fit):
        console.print(Padding(Text(line), (0, 0, 0, 2)))
    console.print(Text(residual_words(check.fit)))
    console.print(Text(check.fit.chi2_words))


def _finding_data(finding: Finding) -> dict[str, Any]:
    return {
        "fault": finding.fault.value,
        "weight": finding.weight,
        "probability": finding.probability,
        "size": finding.size,
        "size_u": finding.size_u,
        "unit": finding.unit,
        "variant": finding.variant,
        "next_action": finding.next_action,
    }


def _not_read_data(dead: TypedDead) -> dict[str, Any]:
    return {
        "row": dead.row,
        "temperature_c": dead.point.temperature_c,
        "typed": dead.typed,
        "circuit": dead.point.circuit.value,
        "reason": not_read_words(dead),
    }


def _point_data(point: SenderPoint, used: FitPoint) -> dict[str, Any]:
    return {
        **point_data(point),
        "limits_k": list(point.limits_k),
        "deviation_percent": point.deviation_percent,
        "u_temperature_k": used.u_temperature_k,
        "u_resistance_ohm": used.u_resistance_ohm,
        "probability_wrong": point.probability_wrong,
    }
