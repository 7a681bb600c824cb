"""ohmbath-rig plants: the faults that a simulated bench can have."""

import json

import click

from rig.plant_option import planted


@click.command("plants")
@click.argument("plant", callback=planted, metavar="[NAME[:SIZE]]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def command(plant: tuple[str, float] | None, as_json: bool) -> None:
    """List the faults that a simulated bench can have planted, or check that one of them can be.

    A fault given without a size has the one that the list gives.
    """
    from rig.sim.plants import PLANTS, part_of

    if plant is not None:
        name, size = plant
        click.echo(f"{name}:{size:g} {PLANTS[name].unit}: {PLANTS[name].effect}")
        return
    if as_json:
        found = [
            {
                "name": kind.name,
                "unit": kind.unit,
                "part": part_of((kind.name, kind.size)),
                "size": kind.size,
                "lowest": kind.lowest,
                "highest": kind.highest,
                "selftest": kind.selftest,
                "effect": kind.effect,
            }
            for kind in PLANTS.values()
        ]
        click.echo(json.dumps({"plants": found}))
        return
    for kind in PLANTS.values():
        seen = "; the self-test sees it" if kind.selftest else ""
        click.echo(f"{kind.name:<23} {kind.effect} ({kind.size:g} {kind.unit}{seen})")
