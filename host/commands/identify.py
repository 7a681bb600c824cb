"""ohmbath identify: which curve of the library a part follows."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from calibration.curves import ReferenceCurve, curve_names, load_curve
from calibration.diagnosis import points_by_hand
from calibration.identification import Candidate, Identification, identify
from calibration.thermistor.fit_point import FitPoint
from host.check_report import WIDTH
from host.curve_choice import all_curves
from host.data_folder import existing_folder
from host.data_option import opened
from host.identification_words import identification_sentence
from host.one_line import OneLineCommand, above_zero_to, json_text
from host.quantity import POINT
from host.typed_check import (
    ASSUMED_U_RESISTANCE_PERCENT,
    ASSUMED_U_TEMPERATURE_K,
    MOST_U_RESISTANCE_PERCENT,
    MOST_U_TEMPERATURE_K,
)

#: Exit code where no curve of the library is likelier than none.
EXIT_NONE = 3

# Curves of less probability are in the JSON alone.
_WORTH_A_ROW = 0.001


@click.command("identify", cls=OneLineCommand)
@click.option(
    "--point",
    "points",
    type=POINT,
    multiple=True,
    required=True,
    metavar="20C:2.45k",
    help="A measured point: temperature and resistance. Give two or more, far apart.",
)
@click.option(
    "--u-temperature",
    type=float,
    default=ASSUMED_U_TEMPERATURE_K,
    show_default=True,
    callback=above_zero_to(MOST_U_TEMPERATURE_K),
    metavar="K",
    help="Standard uncertainty of the temperatures.",
)
@click.option(
    "--u-resistance",
    type=float,
    default=ASSUMED_U_RESISTANCE_PERCENT,
    show_default=True,
    callback=above_zero_to(MOST_U_RESISTANCE_PERCENT),
    metavar="PERCENT",
    help="Standard uncertainty of the resistances.",
)
@click.option(
    "--data",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of a desk: its own curves are ranked beside those that come with the bench.",
)
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output.")
def command(
    points: tuple[FitPoint, ...],
    u_temperature: float,
    u_resistance: float,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Tell which reference curve a part follows, from a few points.

    Curves that run within each other's tolerance at these temperatures stand in one group. Between the rows
    of a curve of two or three, and beyond the ends of any, a point counts by how such parts usually run on,
    the less the further from the rows.

    Exit code 0: a group is named. 3: none of these is likelier than any group. 2: bad input, in one line.
    """
    measured = points_by_hand([_with_uncertainty(point, u_temperature, u_resistance) for point in points])
    found = identify(measured, _library(folder))
    if as_json:
        click.echo(json_text(_data(found)))
    else:
        _print(found, len(points), f"{u_temperature:g} K and {u_resistance:g} %")
    click.get_current_context().exit(EXIT_NONE if found.none_is_likeliest else 0)


def _library(folder: Path | None) -> Sequence[ReferenceCurve]:
    if folder is None:
        return [load_curve(name) for name in curve_names()]
    with opened(existing_folder(folder)) as store:
        return all_curves(store.curves)


def _with_uncertainty(point: FitPoint, u_temperature_k: float, u_resistance_percent: float) -> FitPoint:
    return FitPoint(
        temperature_c=point.temperature_c,
        resistance_ohm=point.resistance_ohm,
        u_temperature_k=u_temperature_k,
        u_resistance_ohm=u_resistance_percent / 100.0 * point.resistance_ohm,
    )


def _data(found: Identification) -> dict[str, Any]:
    groups = found.group_probabilities
    return {
        "candidates": [
            {
                "curve": candidate.curve,
                "title": candidate.title,
                "probability": candidate.probability,
                "points_judged": candidate.points_judged,
                "group": candidate.group,
                "group_probability": groups[candidate.group],
                "coincides_with": list(candidate.coincides_with),
            }
            for candidate in found.candidates
        ],
        "none_of_these": found.none_of_these,
    }


def _print(found: Identification, count: int, uncertainties: str) -> None:
    console = Console(file=sys.stdout, width=WIDTH, highlight=False)
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    table.add_column("curve", no_wrap=True)
    table.add_column("probability", justify="right", no_wrap=True)
    table.add_column("group", justify="right", no_wrap=True)
    table.add_column("what it is")
    for candidate in found.candidates:
        if candidate.probability >= _WORTH_A_ROW:
            table.add_row(*_cells(candidate, count))
    table.add_row("none of these", f"{100.0 * found.none_of_these:.1f} %", "", "")
    console.print(table)
    console.print()
    console.print(Text(identification_sentence(found), style="bold"))
    console.print(Text(f"Standard uncertainties of the points: {uncertainties}."))


def _cells(candidate: Candidate, count: int) -> tuple[str, ...]:
    judged = candidate.points_judged
    where = "" if judged == count else f" (judges at {judged} of {count} points)"
    return (
        candidate.curve,
        f"{100.0 * candidate.probability:.1f} %",
        str(candidate.group),
        f"{candidate.title}{where}",
    )
