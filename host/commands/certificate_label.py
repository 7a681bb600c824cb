"""``ohmbath certificate label``: the sticker for what a certificate is about."""

import os
from pathlib import Path

import click

from host.certificates.label import PLACES, sheet_pdf, stickers_pdf
from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.labels import labels_of
from host.one_line import OneLineCommand, Refusal


@click.command("label", cls=OneLineCommand)
@click.argument("numbers", metavar="NUMBER...", nargs=-1, required=True)
@click.option("--sheet", is_flag=True, help=f"Print on sheets of A4 with {PLACES} places each.")
@click.option(
    "--start",
    type=click.IntRange(1, PLACES),
    metavar="PLACE",
    help=f"First free place of a sheet used in part: 1 to {PLACES}, along the rows.",
)
@click.option(
    "--copies",
    type=click.IntRange(1, 10 * PLACES),
    default=1,
    show_default=True,
    help="So many labels of each certificate.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    metavar="FILE.pdf",
    help="File to write.",
)
@data_option
def label(
    numbers: tuple[str, ...], sheet: bool, start: int | None, copies: int, out: Path, folder: DataFolder
) -> None:
    """Print a label for each certificate NUMBER: a page of 40 by 20 mm, or a place on a sheet.

    It says number, item, day of issue, the day it is due where the shop has set one, and the verdict; its
    code says what the code on the paper says. Print at 100 %. A certificate that was withdrawn or superseded
    gets none.
    """
    if start is not None and not sheet:
        raise Refusal("--start names a place of a sheet: say --sheet as well.")
    with opened(folder) as store:
        labels = [one for one in labels_of(store, numbers) for _ in range(copies)]
    pdf = sheet_pdf(labels, start=start or 1) if sheet else stickers_pdf(labels)
    part = out.with_name(f"{out.name}.part")
    try:
        part.write_bytes(pdf)
        os.replace(part, out)
    except OSError as error:
        raise Refusal(f"{out} cannot be written ({error.strerror}).") from error
    count = f"{len(labels)} label{'' if len(labels) == 1 else 's'}"
    where = (
        f"on A4 with {PLACES} places, from place {start or 1} on" if sheet else "of 40 × 20 mm, one a page"
    )
    click.echo(f"{out}: {count} {where}. Print at 100 %.")
