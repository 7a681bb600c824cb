"""ohmbath curves: the reference curves, and one of them in full."""

import sys
from typing import Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from calibration.curves import CurveRow, ReferenceCurve, curve_names, load_curve
from calibration.temperature_scale import fahrenheit_from_celsius
from host.check_report import WIDTH
from host.curve_choice import chosen_curve
from host.one_line import OneLineCommand, json_text


@click.group("curves", invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output.")
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """List the reference curves, or show one of them.

    A curve of your own is a TOML file of the same form; name the file where a curve is asked for.
    """
    if ctx.invoked_subcommand is not None:
        return
    curves = [load_curve(name) for name in curve_names()]
    if as_json:
        click.echo(json_text({"curves": [_data(curve) for curve in curves]}))
    else:
        _print_list(curves)


@command.command("show", cls=OneLineCommand)
@click.argument("name", metavar="NAME")
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output.")
def show(name: str, as_json: bool) -> None:
    """Show one curve: its source, tolerance and table.

    NAME is one of those that `ohmbath curves` lists, or a TOML file of your own.
    """
    curve = chosen_curve(name)
    if as_json:
        click.echo(json_text(_data(curve)))
    else:
        _print_curve(curve)


def _console() -> Console:
    return Console(file=sys.stdout, width=WIDTH, highlight=False)


def _print_list(curves: list[ReferenceCurve]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    table.add_column("curve", no_wrap=True)
    table.add_column("°C", justify="right", no_wrap=True)
    table.add_column("limits", no_wrap=True)
    table.add_column("what it is")
    for curve in curves:
        span = f"{curve.valid_from_c:g} to {curve.valid_to_c:g}"
        table.add_row(curve.name, span, "printed" if curve.has_tolerance else "unknown", curve.title)
    console = _console()
    console.print(table)
    console.print(Text("A check against a curve whose limits are unknown needs --limit-k.", style="dim"))


def _print_curve(curve: ReferenceCurve) -> None:
    console = _console()
    current = "unknown" if curve.allowed_current_ma is None else f"{curve.allowed_current_ma:g} mA"
    console.print(Text(curve.name, style="bold"), Text(curve.title))
    facts = Table(box=None, show_header=False, padding=(0, 2, 0, 0), pad_edge=False)
    for name, words in (
        ("source", curve.source),
        ("tolerance", curve.tolerance),
        ("wiring", curve.wiring),
        ("allowed current", current),
        ("range", f"{curve.valid_from_c:g} to {curve.valid_to_c:g} °C"),
        ("judges", _judges_words(curve)),
        ("note", curve.note),
    ):
        if words:
            facts.add_row(Text(name, style="dim"), Text(words))
    console.print(facts)
    console.print(Text("SHA-256", style="dim"), Text(curve.content_hash))
    console.print()
    console.print(_row_table(curve) if curve.rows else _coefficient_table(curve))


def _judges_words(curve: ReferenceCurve) -> str:
    if curve.judges_only_printed_rows:
        return f"only at its {len(curve.rows)} printed temperatures"
    return ""


def _row_table(curve: ReferenceCurve) -> Table:
    table = Table(box=None, padding=(0, 3, 0, 0), pad_edge=False, header_style="dim")
    headings = ("°C", "°F", "min Ω", "Ω", "max Ω") if curve.has_tolerance else ("°C", "°F", "Ω")
    for heading in headings:
        table.add_column(heading, justify="right", no_wrap=True)
    for row in curve.rows:
        table.add_row(*_row_cells(row, with_limits=curve.has_tolerance))
    return table


def _row_cells(row: CurveRow, *, with_limits: bool) -> tuple[str, ...]:
    temperature = (f"{row.temperature_c:g}", f"{fahrenheit_from_celsius(row.temperature_c):.4g}")
    if not with_limits:
        return (*temperature, f"{row.resistance_ohm:.10g}")
    return (*temperature, f"{row.min_ohm:.10g}", f"{row.resistance_ohm:.10g}", f"{row.max_ohm:.10g}")


def _coefficient_table(curve: ReferenceCurve) -> Table:
    table = Table(box=None, padding=(0, 3, 0, 0), pad_edge=False, header_style="dim")
    table.add_column(curve.form)
    table.add_column("", justify="right")
    for name, value in curve.coefficients:
        table.add_row(name, f"{value:.10g}")
    return table


def _data(curve: ReferenceCurve) -> dict[str, Any]:
    return {
        "name": curve.name,
        "title": curve.title,
        "source": curve.source,
        "tolerance": curve.tolerance,
        "wiring": curve.wiring,
        "allowed_current_ma": curve.allowed_current_ma,
        "note": curve.note,
        "content_hash": curve.content_hash,
        "valid_from_c": curve.valid_from_c,
        "valid_to_c": curve.valid_to_c,
        "judges_only_printed_rows": curve.judges_only_printed_rows,
        "form": curve.form,
        "coefficients": dict(curve.coefficients),
        "rows": [
            {
                "temperature_c": row.temperature_c,
                "resistance_ohm": row.resistance_ohm,
                "min_ohm": row.min_ohm,
                "max_ohm": row.max_ohm,
            }
            for row in curve.rows
        ],
    }
