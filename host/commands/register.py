"""``ohmbath register``: instruments and their certificates."""

from pathlib import Path

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.local_time import local_day
from host.one_line import OneLineCommand, Refusal, json_text
from host.recalibration import due_date


@click.group()
def command() -> None:
    """Add instruments with their certificates, and list them."""


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@data_option
def add(file: Path, folder: DataFolder) -> None:
    """Add the instrument that FILE (TOML) describes, as copied from its certificate."""
    try:
        text = file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise Refusal(f"{file}: this is no UTF-8 text: {error.reason} at byte {error.start}.") from error
    with opened(folder) as store:
        added = store.register.add_text(text)
    due = "with no due date" if added.due is None else f"due {added.due.isoformat()}"
    click.echo(f"{added.kind} {added.serial} (certificate {added.certificate}) is in the register, {due}.")


@command.command("list", cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def list_instruments(folder: DataFolder, as_json: bool) -> None:
    """List every entry, newest last, and why nothing may rest on an instrument."""
    with opened(folder) as store:
        instruments, standings = store.register.all(), store.register.standings()
        settings, now_utc_s = store.settings.read(), store.now()
    if as_json:
        entries = [{**dict(one.content), "sha256": one.sha256} for one in instruments]
        click.echo(json_text({"instruments": entries}))
        return
    if not instruments:
        click.echo("The register is empty: add an instrument with 'ohmbath register add FILE.toml'.")
    for one in instruments:
        due = due_date(one, settings.recalibration_months)
        simulated = "  simulated" if one.simulated else ""
        click.echo(f"{one.kind:<12} {one.serial:<16} {one.certificate:<24} due {due or '-'}{simulated}")
    today = local_day(now_utc_s, settings.zone)
    for standing in standings:
        refusal = standing.refusal(today, settings.recalibration_months)
        if refusal is not None:
            click.echo(refusal)
