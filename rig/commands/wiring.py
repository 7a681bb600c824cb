"""ohmbath-rig wiring: pins, ranges, inputs, buses, relays."""

from pathlib import Path

import click

from rig.bad_input import BadInputError
from rig.errors import RigError
from rig.wiring import load_wiring


@click.command("wiring")
@click.option(
    "--schematic", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.svg",
    help="Draw the circuit into this file, too.",
)  # fmt: skip
def command(schematic: Path | None) -> None:
    """Print the wiring map: pins, ranges, inputs, buses, relays."""
    from rig.wiring_table import wiring_lines

    try:
        found = load_wiring()
        if schematic is not None:
            from rig.schematic import schematic_svg

            schematic.write_bytes(schematic_svg(found))
    except RigError as error:
        raise BadInputError(str(error)) from error
    except OSError as error:
        raise BadInputError(
            f"{schematic} cannot be written ({error.strerror}): give another file."
        ) from error
    click.echo("\n".join(wiring_lines(found)))
