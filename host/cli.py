"""Command line of the desk."""

import importlib

import click

# Each command lives in host/commands/<name>.py as a click command called `command`; it is imported only
# when asked for, so that `ohmbath curves` does not wait for the plotting library.
COMMANDS = (
    "backup",
    "benchmark",
    "boil",
    "certificate",
    "check",
    "clear",
    "curves",
    "demo",
    "dial",
    "export",
    "fit",
    "identify",
    "infrared",
    "person",
    "register",
    "restore",
    "serve",
    "settings",
    "station",
)


class _LazyGroup(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"host.commands.{cmd_name}")
        command: click.Command = module.command
        return command


@click.group(cls=_LazyGroup)
@click.version_option(package_name="ohmbath")
def main() -> None:
    """Ohmbath: a bench that settles whether a coolant temperature sender tells the truth."""
