"""``ohmbath certificate chain``: is everything that was issued still there, as it was issued?"""

import re

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, Refusal, json_text
from host.store.chain_check import check_chain

# What a paper puts into a head so that it may break over two lines, and what a reader copies with it.
_BETWEEN = re.compile(r"[\s\u200b\u00ad]+")
_HEAD = re.compile(r"[0-9a-f]{64}")


@click.command("chain", cls=OneLineCommand)
@data_option
@click.option(
    "--known-head",
    default="",
    metavar="HEAD",
    help="A head from elsewhere: beside “Chain” on a certificate, or from a backup. It must be in the chain.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def chain(folder: DataFolder, known_head: str, as_json: bool) -> None:
    """Check the whole chain of certificates, withdrawals and supersessions.

    Exit code 0: whole. 1: broken; the first link that does not fit is named. 2: bad input.
    """
    with opened(folder) as store:
        report = check_chain(store.chain, store.certificates, known_head=head_as_printed(known_head))
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
            click.echo("Hold it against a head from elsewhere with --known-head: see “Chain” on a paper.")
    else:
        click.echo(f"Broken at link {report.broken}: {report.trouble}.")
        click.echo("Keep this folder as it is, and hold it against the newest backup from before.")
    click.get_current_context().exit(0 if report.is_whole else 1)


def head_as_printed(text: str) -> str:
    """Head as it was typed or copied from a paper; empty where none was given.

    Raises
    ------
    Refusal
        If it is no head.
    """
    head = _BETWEEN.sub("", text).lower()
    if text.strip() and not _HEAD.fullmatch(head):
        raise Refusal(
            f"{text.strip()[:80]!r} is no head of a chain: it has 64 digits from 0 to f, beside “Chain” on "
            "a certificate."
        )
    return head
