"""``ohmbath certificate list``: certificates and what waits to become one."""

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, json_text


@click.command("list", cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def list_all(folder: DataFolder, as_json: bool) -> None:
    """List every certificate with its state, and the drafts that wait."""
    with opened(folder) as store:
        standings = store.certificates.standings()
        issued = store.certificates.all()
        waiting = store.drafts.waiting()
    if as_json:
        rows = [
            {
                "number": one.number,
                "run": one.run,
                "verdict": one.files.verdict,
                "state": standings[one.number].state.value,
                "superseded_by": standings[one.number].number_now or None,
                "reason": standings[one.number].reason or None,
            }
            for one in issued
        ]
        drafts = [{"draft": one.draft, "run": one.run, "made_by": one.made_by} for one in waiting]
        click.echo(json_text({"certificates": rows, "drafts": drafts}))
        return
    for one in issued:
        standing = standings[one.number]
        why = f": {standing.reason}" if standing.reason else ""
        click.echo(f"{one.number:<12} run {one.run:04d}  {one.files.verdict:<18} {standing.words}{why}")
    for draft in waiting:
        click.echo(f"{draft.name:<12} run {draft.run:04d}  {draft.files.verdict:<18} waits to be authorised")
    if not issued and not waiting:
        click.echo("No certificate yet.")
