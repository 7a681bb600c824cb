"""``ohmbath certificate chain``: is everything that was issued still there, as it was issued?"""

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, json_text
from host.store.chain_check import check_chain


@click.command("chain", cls=OneLineCommand)
@data_option
@click.option(
    "--known-head",
    default="",
    metavar="HEAD",
    help="A head from elsewhere: from the foot of a certificate, or from a backup. It must be in the chain.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def chain(folder: DataFolder, known_head: str, as_json: bool) -> None:
    """Check the whole chain of certificates, withdrawals and supersessions.

    Exit code 0: whole. 1: broken; the first link that does not fit is named. 2: bad input.
    """
    with opened(folder) as store:
        report = check_chain(store.chain, store.certificates, known_head=known_head.strip())
    if as_json:
        click.echo(
            json_text(
                {
                    "whole": report.is_whole,
                    "links": report.links,
                    "certificates": report.certificates,
                    "head": report.head,
                    "broken_link": report.broken,
                    "trouble": report.trouble or None,
                }
            )
        )
    elif report.is_whole:
        click.echo(f"Whole: {report.links} links, {report.certificates} certificates.")
        if report.head:
            click.echo(f"Head: {report.head}")
        if not known_head:
            click.echo(
                "Hold it against a head from elsewhere with --known-head: the foot of a paper has one."
            )
    else:
        click.echo(f"Broken at link {report.broken}: {report.trouble}.")
        click.echo("Keep this folder as it is, and hold it against the newest backup from before.")
    click.get_current_context().exit(0 if report.is_whole else 1)
