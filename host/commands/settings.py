"""``ohmbath settings``: what the shop decides once for its desk."""

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, json_text
from host.store.settings import SETTINGS


@click.group()
def command() -> None:
    """Show the settings of the desk, and change them."""


@command.command(cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def show(folder: DataFolder, as_json: bool) -> None:
    """Show every setting."""
    with opened(folder) as store:
        kept = store.settings.texts()
    texts = {setting.name: kept.get(setting.name, setting.usual) for setting in SETTINGS}
    if as_json:
        click.echo(json_text({"settings": texts}))
        return
    for setting in SETTINGS:
        click.echo(f"{setting.name:<30}  {texts[setting.name] or '-'}")


@command.command("set", cls=OneLineCommand)
@click.argument("name")
@click.argument("text")
@data_option
def set_one(name: str, text: str, folder: DataFolder) -> None:
    """Set NAME to TEXT; "" empties it. A running desk takes it with its next page."""
    with opened(folder) as store:
        store.settings.change({name: text})
        kept = store.settings.texts()[name]
    click.echo(f"{name} is {kept!r} now." if kept else f"{name} is empty now.")
