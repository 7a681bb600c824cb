"""``ohmbath certificate``: what was issued, and whether it still stands up."""

import click

from host.commands.certificate_chain import chain
from host.commands.certificate_key import key
from host.commands.certificate_label import label
from host.commands.certificate_list import list_all
from host.commands.certificate_recompute import again, export
from host.commands.certificate_verify import verify


@click.group()
def command() -> None:
    """Show what was issued, and test whether it stands up.

    Each paper (PDF) carries its data as certificate.json and as certificate.xml, a digital calibration
    certificate of schema version 3.3.0; a reader that knows 3.1.2 alone refuses it.
    """


command.add_command(chain)
command.add_command(list_all)
command.add_command(label)
command.add_command(again)
command.add_command(export)
command.add_command(verify)
command.add_command(key)
