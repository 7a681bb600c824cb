"""Command line of the rig."""

import click

_DESK_ALONE = 2

try:
    from rig.commands import benchmark, ice, join, plants, run, safe, selftest, wiring
except ModuleNotFoundError as error:  # installed with the host's libraries alone: a desk, and no rig
    click.echo(
        f"ohmbath-rig: {error.name} is not installed: here is a desk and no rig. "
        "Add the rig's libraries: pip install '.[rig]'",
        err=True,
    )
    raise SystemExit(_DESK_ALONE) from error


@click.group()
@click.version_option(package_name="ohmbath")
def main() -> None:
    """Read an Ohmbath bench and publish what it says."""


for _module in (run, safe, join, plants, wiring, ice, selftest, benchmark):
    main.add_command(_module.command)
