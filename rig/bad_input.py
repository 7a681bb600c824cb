"""What was typed and cannot be taken: said in one line."""

from typing import Any

import click


class BadInputError(click.ClickException):
    """Exit code 2, as for any other usage that is wrong."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        """One line to the error stream."""
        click.echo(f"ohmbath-rig: {self.message}", err=True)
