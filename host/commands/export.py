"""``ohmbath export``: what leaves the desk as a file."""

from pathlib import Path

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand
from host.support_file import write_support_file


@click.group()
def command() -> None:
    """Write what the desk keeps into files for others."""


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
def support(file: Path, folder: DataFolder) -> None:
    """Write FILE (a ZIP) for who helps: versions, settings, counts and logs without secrets or customers."""
    with opened(folder) as store:
        names = write_support_file(folder, store, file)
    click.echo(f"{file} holds {', '.join(names)}.")
    click.echo("It is plain text in a ZIP: look through it before you send it.")
