"""ohmbath infrared: what a surface is behind what an infrared thermometer shows, and back."""

from typing import Any

import click

from calibration.infrared.emissivity import BODY_APART_HALF_WIDTH_K, Shot
from calibration.infrared.surfaces import known_surfaces
from calibration.rounding import decimals_of, rounded_text
from calibration.temperature_scale import fahrenheit_from_celsius
from calibration.uncertainty.budget import Budget
from host.budget_text import budget_text
from host.errors import DeskError
from host.infrared_shot import (
    ASSUMED_SURROUNDINGS_HALF_WIDTH_K,
    ASSUMED_U_READING_K,
    Thermometer,
    TypedShot,
    check_target,
    typed_surface,
)
from host.one_line import OneLineCommand, above_zero_to, json_text
from host.quantity import EMISSIVITY, TEMPERATURE


@click.command("infrared", cls=OneLineCommand)
@click.option("--reading", "shown_c", type=TEMPERATURE, metavar="100C", help="What the thermometer shows.")
@click.option(
    "--true", "surface_c", type=TEMPERATURE, metavar="100C", help="True temperature: what would be shown?"
)
@click.option(
    "--set", "set_emissivity", type=EMISSIVITY, metavar="0.95", help="Emissivity the thermometer is set to."
)
@click.option(
    "--surface", "surface_text", metavar="0.94", help="Emissivity of the surface, or its name (--surfaces)."
)
@click.option(
    "--surroundings",
    "surroundings_c",
    type=TEMPERATURE,
    metavar="23C",
    help="Temperature of what the surface mirrors.",
)
@click.option(
    "--believed",
    "believed_c",
    type=TEMPERATURE,
    metavar="23C",
    help="What the thermometer takes for the surroundings: as set on it, or its own body where that is "
    "colder or warmer than what the surface mirrors.",
)
@click.option(
    "--u-surface",
    type=click.FloatRange(0.0, 0.5),
    metavar="WIDTH",
    help="Emissivity is known to ± this (otherwise 0.02, assumed, or the span of the table).",
)
@click.option(
    "--u-surroundings",
    type=click.FloatRange(0.0, 100.0),
    default=ASSUMED_SURROUNDINGS_HALF_WIDTH_K,
    show_default=True,
    metavar="K",
    help="Surroundings are known to ± this.",
)
@click.option(
    "--u-believed",
    type=click.FloatRange(0.0, 100.0),
    metavar="K",
    help="That is known to ± this. Otherwise 0 beside --believed, and without it "
    f"{BODY_APART_HALF_WIDTH_K:g}: the thermometer's body beside what the surface mirrors (common practice).",
)
@click.option(
    "--u-reading",
    type=float,
    default=ASSUMED_U_READING_K,
    show_default=True,
    callback=above_zero_to(100.0),
    metavar="K",
    help="Standard uncertainty of the thermometer, from its certificate.",
)
@click.option(
    "--thermometer",
    type=click.Choice([thermometer.value for thermometer in Thermometer]),
    default=Thermometer.HANDHELD.value,
    show_default=True,
    help="handheld: 8 to 14 µm. rig: 5.5 to 14 µm (from memory of its data sheet).",
)
@click.option("--ratio", type=float, metavar="12", help="Distance to spot, as printed: 12 for 12:1.")
@click.option("--distance-mm", type=float, metavar="MM", help="Distance to the surface.")
@click.option("--target-mm", type=float, metavar="MM", help="Width of the surface that is aimed at.")
@click.option("--surfaces", "list_surfaces", is_flag=True, help="List the surfaces there are names for.")
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output, words on standard error.")
def command(
    shown_c: float | None,
    surface_c: float | None,
    set_emissivity: float | None,
    surface_text: str | None,
    surroundings_c: float | None,
    believed_c: float | None,
    u_surface: float | None,
    u_surroundings: float,
    u_believed: float | None,
    u_reading: float,
    thermometer: str,
    ratio: float | None,
    distance_mm: float | None,
    target_mm: float | None,
    list_surfaces: bool,
    as_json: bool,
) -> None:
    """Correct an infrared reading for emissivity and for what the surface mirrors.

    With --reading it says what the surface is; with --true, what the thermometer will show. Say how far
    away and on what (--ratio, --distance-mm, --target-mm) and a target under two spots wide is refused.

    Many of these thermometers aim with a laser: never look into it, never point it at a face, nor at a
    mirror or bright metal that sends it back. Keep hands, sleeves and the strap clear of belts, fans and
    hot parts.
    """
    if list_surfaces:
        click.echo(_surface_list())
        return
    if (shown_c is None) == (surface_c is None):
        raise DeskError("Give one of --reading 100C (what is the surface?) and --true 100C (what is shown?).")
    if set_emissivity is None or surface_text is None or surroundings_c is None:
        raise DeskError("A shot needs --set 0.95, --surface 0.94 and --surroundings 23C.")
    spot_words = check_target(ratio, distance_mm, target_mm)
    typed = TypedShot(
        surface=typed_surface(surface_text, u_surface),
        shot=Shot(
            set_emissivity=set_emissivity,
            surroundings_c=surroundings_c,
            surroundings_half_width_k=u_surroundings,
            believed_c=believed_c,
            believed_half_width_k=u_believed,
        ),
        band=Thermometer(thermometer).band,
        u_reading_k=u_reading,
    )
    if shown_c is not None:
        budget, given_c, name = typed.true_from(shown_c), shown_c, "true_c"
    else:
        assert surface_c is not None
        budget, given_c, name = typed.reading_from(surface_c), surface_c, "reading_c"
    words = [_sentence(budget, given_c, name), f"Surface: {typed.surface.words}.", typed.believed_words]
    if spot_words:
        words.append(spot_words)
    if as_json:
        click.echo(json_text(_data(budget, given_c, name, typed)))
        click.echo("\n".join(words), err=True)
    else:
        click.echo("\n".join([*words, "", budget_text(budget)]))


def _sentence(budget: Budget, given_c: float, name: str) -> str:
    places = decimals_of(budget.expanded_u)
    found = (
        f"{rounded_text(budget.estimate, places)} °C "
        f"({rounded_text(fahrenheit_from_celsius(budget.estimate), places)} °F)"
    )
    doubt = f"± {rounded_text(budget.expanded_u, places)} K (k = {budget.k:.2f})"
    if name == "true_c":
        return f"A reading of {given_c:g} °C is a surface at {found}, {doubt}."
    return f"A surface at {given_c:g} °C is shown as {found}, {doubt}."


def _data(budget: Budget, given_c: float, name: str, typed: TypedShot) -> dict[str, Any]:
    return {
        name: budget.estimate,
        name.replace("_c", "_f"): fahrenheit_from_celsius(budget.estimate),
        "expanded_u_k": budget.expanded_u,
        "k": budget.k,
        "correction_k": budget.estimate - given_c,
        "surface_emissivity": typed.surface.surface.emissivity,
        "surface_emissivity_half_width": typed.surface.surface.half_width,
        "believed_c": typed.shot.taken_off_c,
        "believed_half_width_k": typed.shot.taken_off_half_width_k,
        "budget": [
            {
                "quantity": line.quantity,
                "standard_u": line.standard_u,
                "unit": line.unit,
                "sensitivity": line.sensitivity,
                "contribution_k": line.contribution,
            }
            for line in budget.lines
        ],
    }


def _surface_list() -> str:
    lines = []
    for row in known_surfaces():
        span = f"{row.lowest:g}" if row.lowest == row.highest else f"{row.lowest:g} to {row.highest:g}"
        at = f", {row.temperature}" if row.temperature else ""
        lines.append(f"{row.name:32}{span:14}{row.spectrum}{at}")
    sources = dict.fromkeys(row.source for row in known_surfaces())
    return "\n".join([*lines, "", *(f"Source: {source}." for source in sources)])
