"""``ohmbath station``: the stations of this desk."""

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, json_text


@click.group()
def command() -> None:
    """Add stations, and list them."""


@command.command(cls=OneLineCommand)
@click.argument("name")
@data_option
def add(name: str, folder: DataFolder) -> None:
    """Add station NAME; the first rig that speaks under that name is tied to it."""
    with opened(folder) as store:
        store.stations.add(name)
    click.echo(f"Station {name} is added. Start its rig with: ohmbath-rig run --station {name}")


@command.command("list", cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def list_stations(folder: DataFolder, as_json: bool) -> None:
    """List the stations, with the rig that each is tied to."""
    with opened(folder) as store:
        stations = store.stations.all()
    if as_json:
        click.echo(json_text({"stations": [{"station": one.station, "rig": one.rig} for one in stations]}))
        return
    if not stations:
        click.echo("No station yet: add one with 'ohmbath station add NAME'.")
    for one in stations:
        click.echo(f"{one.station:<32}  {'no rig has spoken yet' if one.rig is None else 'rig ' + one.rig}")
