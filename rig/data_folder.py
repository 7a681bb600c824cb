"""Where a rig keeps its outbox, as it is typed."""

from pathlib import Path

import click

from rig.bad_input import BadInputError
from rig.errors import RigError
from rig.outbox_file import OutboxFile

data_option = click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="OHMBATH_RIG_DATA",
    default=Path("~/.local/share/ohmbath-rig"),
    show_default=True,
    help="Folder of the outbox.",
)


def open_outbox(data: Path, station: str | None, *, starts_boot: bool = True) -> OutboxFile:
    """Outbox in the folder, which is made where it is not there.

    Raises
    ------
    BadInputError
        If folder or outbox cannot be had.
    """
    try:
        data.mkdir(parents=True, exist_ok=True)
        return OutboxFile(data / "outbox.sqlite", station=station, starts_boot=starts_boot)
    except OSError as error:
        raise BadInputError(f"{data} cannot be made ({error.strerror}): give another --data.") from error
    except RigError as error:
        raise BadInputError(str(error)) from error
