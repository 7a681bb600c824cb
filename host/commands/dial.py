"""ohmbath dial: what to set on the decade box so that the computer shows a chosen temperature."""

import sys

import click

from calibration.vehicle.dial import dial_row
from calibration.vehicle.dialled_box import DialledBox
from host.curve_choice import chosen_curve
from host.dial_report import dial_data, print_dial, words_of
from host.one_line import OneLineCommand, above_zero, above_zero_to, json_text
from host.quantity import TEMPERATURE


@click.command("dial", cls=OneLineCommand)
@click.option(
    "--curve",
    "curve_name",
    required=True,
    metavar="NAME",
    help="Curve that the computer holds: a name, or a TOML file.",
)
@click.option(
    "--show",
    "show_c",
    type=TEMPERATURE,
    multiple=True,
    required=True,
    metavar="TEMPERATURE",
    help="Temperature to be shown, as 90C or 195F; may be given several times.",
)
@click.option(
    "--step",
    "step_ohm",
    type=float,
    default=1.0,
    show_default=True,
    callback=above_zero,
    metavar="OHM",
    help="Smallest step of the box.",
)
@click.option(
    "--residual",
    "residual_ohm",
    type=click.FloatRange(0.0, 1000.0),
    default=0.0,
    show_default=True,
    metavar="OHM",
    help="What the box and its leads have at zero.",
)
@click.option(
    "--tolerance",
    "tolerance_percent",
    type=float,
    default=1.0,
    show_default=True,
    callback=above_zero_to(100.0),
    metavar="PERCENT",
    help="Tolerance of the box; the default is that of a simple one.",
)
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output, words on standard error.")
def command(
    curve_name: str,
    show_c: tuple[float, ...],
    step_ohm: float,
    residual_ohm: float,
    tolerance_percent: float,
    as_json: bool,
) -> None:
    """Say what to dial on a decade box so that the computer shows a temperature.

    The box goes in place of the sender. What the computer then shows instead is an error of the wiring or
    of the computer: the sender has no part in it.
    """
    curve = chosen_curve(curve_name)
    box = DialledBox(
        step_ohm=step_ohm, residual_ohm=residual_ohm, tolerance_relative=tolerance_percent / 100.0
    )
    rows = [dial_row(curve, temperature_c, box) for temperature_c in show_c]
    if as_json:
        click.echo(json_text(dial_data(curve, box, rows)))
        for line in words_of(box):
            click.echo(line, err=True)
    else:
        print_dial(curve, box, rows, sys.stdout)
