"""``ohmbath backup``: everything the desk keeps, in one file."""

from pathlib import Path

import click

from host.backup import make_backup
from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand


@click.command(name="backup", cls=OneLineCommand)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
def command(file: Path, folder: DataFolder) -> None:
    """Write everything this desk keeps into FILE, also while it works; keys are not in it."""
    with opened(folder) as store:
        manifest = make_backup(folder, store, file)
    newest = f", certificates up to {manifest.last_certificate}" if manifest.last_certificate else ""
    click.echo(f"{file}: {file.stat().st_size / 1e6:.1f} MB{newest}, read back and whole.")
    click.echo("It holds customers' names: keep it on another machine, where nobody else reads it.")
