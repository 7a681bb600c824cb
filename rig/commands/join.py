"""ohmbath-rig join: tie this rig to one desk."""

from pathlib import Path

import click

from rig.bad_input import BadInputError
from rig.data_folder import data_option, open_outbox
from rig.errors import RigError
from rig.joining import join_rig, new_rig_id, read_join_file


@click.command("join")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@data_option
@click.option(
    "--copied-card", is_flag=True,
    help="This card is a copy of another rig's: take an id of its own, and leave the other's readings to it.",
)  # fmt: skip
def command(file: Path, data: Path, copied_card: bool) -> None:
    """Tie this rig to one desk, with the FILE that `ohmbath station add NAME --join-file FILE` wrote.

    From then on it follows that desk's store and no other. What it still holds is sent there.
    """
    try:
        wanted = read_join_file(file)
        outbox = open_outbox(data.expanduser(), None, starts_boot=False)
        try:
            if copied_card:
                new_rig_id(outbox)
            words = join_rig(outbox, wanted)
        finally:
            outbox.close()
    except RigError as error:
        raise BadInputError(str(error)) from error
    click.echo(
        f"This rig is now {wanted.station}. {words} Start it, then delete {file}: it holds a password."
    )
