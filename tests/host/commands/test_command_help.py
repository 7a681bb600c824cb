import click
import pytest
from click.testing import CliRunner

from host.cli import COMMANDS, main


def every_command():
    context = click.Context(main)
    for name in COMMANDS:
        command = main.get_command(context, name)
        assert command is not None
        yield pytest.param(command, id=name)
        if isinstance(command, click.Group):
            for inner, inner_command in command.commands.items():
                yield pytest.param(inner_command, id=f"{name} {inner}")


EVERY_COMMAND = list(every_command())


@pytest.mark.parametrize("command", EVERY_COMMAND)
def test_every_command_explains_itself(command):
    assert command.help
    result = CliRunner().invoke(command, ["--help"])
    assert result.exit_code == 0
    assert command.help.split(".")[0].split()[0] in result.output


@pytest.mark.parametrize("command", EVERY_COMMAND)
def test_every_option_explains_itself(command):
    options = [parameter for parameter in command.params if isinstance(parameter, click.Option)]
    assert all(option.help for option in options)


def test_the_commands_are_listed_with_their_first_line():
    result = CliRunner().invoke(main, ["--help"])
    assert result.exit_code == 0
    for name in COMMANDS:
        assert name in result.output
