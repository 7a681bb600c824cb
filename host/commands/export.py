"""``ohmbath export``: what leaves the desk as a file."""

from pathlib import Path

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.errors import DeskError
from host.one_line import OneLineCommand, Refusal
from host.procedures.rounds.station_round_runs import StationRounds
from host.support_file import write_support_file
from host.tables.readings import readings_of_run, readings_of_station, readings_table
from host.tables.register import register_table
from host.tables.results import results_table
from host.tables.rounds import round_table
from host.tables.table import Table, form_of, written

#: Rounds that a refusal names, the newest.
_MOST_NAMED = 10


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


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
@click.option("--run", type=int, metavar="N", help="The readings that run N cites.")
@click.option("--station", metavar="NAME", help="All readings of a station.")
def readings(file: Path, folder: DataFolder, run: int | None, station: str | None) -> None:
    """Write readings into FILE, as .csv or .json: of one run, or all of a station."""
    if (run is None) == (station is None):
        raise Refusal("Name either --run N or --station NAME.")
    with opened(folder) as store:
        if run is not None:
            cited = readings_of_run(store, run)
        else:
            cited = readings_of_station(store, str(station))
        if not cited:
            raise Refusal("There are no such readings: 'ohmbath station list' names the stations.")
        _write(file, readings_table(store, cited))


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
def results(file: Path, folder: DataFolder) -> None:
    """Write every certified point into FILE, as .csv or .json: as reported and in full."""
    with opened(folder) as store:
        _write(file, results_table(store))


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
def register(file: Path, folder: DataFolder) -> None:
    """Write the register into FILE, as .csv or .json."""
    with opened(folder) as store:
        _write(file, register_table(store))


@command.command(cls=OneLineCommand, name="round")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
@click.option("--run", type=int, metavar="N", help="The round, by the number of its run.")
def station_round(file: Path, folder: DataFolder, run: int | None) -> None:
    """Write every result of a round into FILE, as .csv or .json, those that do not count too."""
    with opened(folder) as store:
        rounds = StationRounds(store)
        if run is None:
            raise Refusal(f"Name the round with --run N. {_which(rounds.all())}")
        _write(file, round_table(run, rounds.view(run).state))


def _which(rounds: list[tuple[int, str, bool]]) -> str:
    """The newest rounds by their number and artefact."""
    if not rounds:
        return "There are no rounds here yet."
    named = ", ".join(f"{run} ({item})" for run, item, _ in rounds[:_MOST_NAMED])
    more = len(rounds) - _MOST_NAMED
    return f"There are: {named}{f' and {more} older' if more > 0 else ''}."


def _write(file: Path, table: Table) -> None:
    form = form_of(file.name)
    rows = 0
    try:
        with file.open("x", encoding="utf-8", newline="") as target:
            for piece in written(table, form):
                target.write(piece)
                rows += 1
    except FileExistsError as error:
        raise DeskError(f"{file} is there already and stays as it is: choose another name.") from error
    except OSError as error:
        raise DeskError(f"{file} cannot be written ({error.strerror}): choose another place.") from error
    # CSV is a header and a piece for each row, JSON one more at its end
    click.echo(f"{file}: {rows - (1 if form.value == 'csv' else 2)} rows of {table.name}.")
