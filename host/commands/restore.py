"""``ohmbath restore``: a new data folder from a backup."""

from pathlib import Path

import click

from host.backup import restore_backup
from host.data_folder import DataFolder
from host.data_option import opened
from host.given_file import require_given
from host.one_line import OneLineCommand


@click.command(name="restore", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--data",
    "folder",
    type=click.Path(path_type=Path),
    required=True,
    help="New folder; one that holds anything is refused.",
)
def command(file: Path, folder: Path) -> None:
    """Make a new data folder from the backup FILE; rigs send again what they still hold."""
    require_given(file, what="backup")
    manifest, epoch = restore_backup(file, folder.expanduser())
    click.echo(f"{folder} is store {manifest.store} as it was backed up, and begins epoch {epoch}.")
    with opened(DataFolder(folder.expanduser())) as store:
        if store.certificates.any_sealed():
            click.echo(
                "Bring its keys first, they are in no backup of a desk and without them it issues nothing: "
                f"ohmbath certificate key restore FILE --data {folder}"
            )
    click.echo(f"Stop the old desk for good, then run: ohmbath serve --data {folder}")
    click.echo(
        "What the rigs still hold comes again by itself; what they no longer hold is declared as gaps."
    )
