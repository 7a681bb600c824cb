"""ohmbath boil: where water boils here, to check a probe by."""

from typing import Any

import click

from calibration.bath.fixed_points import (
    PROBE_DEPTH_M,
    FixedPoint,
    boiling_at_altitude,
    boiling_at_pressure,
    refuse_sea_level_pressure,
)
from calibration.rounding import decimals_of, rounded_text
from calibration.temperature_scale import fahrenheit_from_celsius
from host.budget_text import budget_text
from host.errors import DeskError
from host.one_line import OneLineCommand, json_text
from host.quantity import ALTITUDE, PRESSURE


@click.command("boil", cls=OneLineCommand)
@click.option(
    "--pressure",
    "pressure_pa",
    type=PRESSURE,
    metavar="95kPa",
    help="Air pressure on the spot (kPa, hPa, mbar, inHg), never reduced to sea level.",
)
@click.option(
    "--altitude",
    "altitude_m",
    type=ALTITUDE,
    metavar="1500m",
    help="Height above the sea (m, ft), where there is no barometer. Beside a pressure it checks that.",
)
@click.option(
    "--depth-cm",
    type=click.FloatRange(0.0, 50.0),
    default=100.0 * PROBE_DEPTH_M,
    show_default=True,
    help="Probe below the surface, 0 in the steam.",
)
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output, words on standard error.")
def command(pressure_pa: float | None, altitude_m: float | None, depth_cm: float, as_json: bool) -> None:
    """Say where water boils here, and how surely.

    Give the pressure that a barometer feels on the spot. The one of a weather report is reduced to sea
    level and is over a kelvin wrong at 500 m; beside --altitude such a pressure is refused. From the
    altitude alone weather adds 0.25 K (k = 1).

    Boiling water and steam scald: boil in an open, steady pot, never in a sealed vessel, and keep your
    face and hands out of the steam.
    """
    point = _point(pressure_pa, altitude_m, depth_cm / 100.0)
    sentence = _sentence(point)
    if as_json:
        click.echo(json_text(_data(point)))
        click.echo(sentence, err=True)
    else:
        click.echo(f"{sentence}\n\n{budget_text(point.budget)}")


def _point(pressure_pa: float | None, altitude_m: float | None, depth_m: float) -> FixedPoint:
    if pressure_pa is None and altitude_m is None:
        raise DeskError(
            "Where water boils hangs on the air: give --pressure 95kPa, or --altitude 1500m where there is "
            "no barometer."
        )
    if pressure_pa is None:
        assert altitude_m is not None
        return boiling_at_altitude(altitude_m, probe_depth_m=depth_m)
    if altitude_m is not None:
        refuse_sea_level_pressure(pressure_pa / 1000.0, altitude_m)
    return boiling_at_pressure(pressure_pa / 1000.0, probe_depth_m=depth_m)


def _sentence(point: FixedPoint) -> str:
    places = decimals_of(point.expanded_u_k)
    assert point.pressure_kpa is not None
    return (
        f"Water boils here at {rounded_text(point.temperature_c, places)} °C "
        f"({rounded_text(fahrenheit_from_celsius(point.temperature_c), places)} °F), "
        f"± {rounded_text(point.expanded_u_k, places)} K (k = {point.budget.k:.2f}), "
        f"at {point.pressure_kpa:.1f} kPa."
    )


def _data(point: FixedPoint) -> dict[str, Any]:
    return {
        "boiling_c": point.temperature_c,
        "boiling_f": fahrenheit_from_celsius(point.temperature_c),
        "expanded_u_k": point.expanded_u_k,
        "k": point.budget.k,
        "pressure_kpa": point.pressure_kpa,
        "budget": [
            {
                "quantity": line.quantity,
                "standard_u": line.standard_u,
                "unit": line.unit,
                "sensitivity": line.sensitivity,
                "contribution_k": line.contribution,
            }
            for line in point.budget.lines
        ],
    }
