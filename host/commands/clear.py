"""``ohmbath clear``: idle readings that the shop no longer keeps."""

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.idle_readings import clear_idle_readings
from host.one_line import OneLineCommand, Refusal
from host.store.settings import LEAST_IDLE_DAYS, MOST_IDLE_DAYS

_DAY_S = 86_400.0


@click.command(name="clear", cls=OneLineCommand)
@data_option
@click.option(
    "--older-than",
    "days",
    type=click.IntRange(LEAST_IDLE_DAYS, MOST_IDLE_DAYS),
    metavar="DAYS",
    help="Days, in place of the setting idle_readings_days.",
)
@click.option("--dry-run", is_flag=True, help="Only count.")
def command(folder: DataFolder, days: int | None, dry_run: bool) -> None:
    """Clear readings that no run rests on and that are older than the shop keeps them.

    What a run cites, and all that came while it was open, is never touched. A desk at work does the same once
    a day where the setting idle_readings_days is set.
    """
    with opened(folder) as store:
        kept = days if days is not None else store.settings.read().idle_readings_days
        if kept is None:
            raise Refusal(
                "This shop keeps every reading: name --older-than DAYS, or set idle_readings_days first."
            )
        if dry_run:
            count = store.idle_readings.count(store.now() - kept * _DAY_S)
            click.echo(f"{count:,} readings are idle and older than {kept} days. Nothing was cleared.")
            return
        cleared = clear_idle_readings(store, older_than_days=kept)
    assert cleared is not None
    click.echo(f"{cleared.count:,} idle readings older than {kept} days were cleared; a gap stands for each.")
    click.echo("The file of the store keeps its size: the room in it is used again.")
