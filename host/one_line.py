"""Commands whose refusals are one line each, so that a script and a person can both read them."""

import json
import math
from collections.abc import Callable, Mapping
from typing import Any

import click
from sqlalchemy.exc import SQLAlchemyError

from calibration.errors import CalibrationError
from host.errors import DeskError

#: Exit codes of verdicts; 2 is bad input.
EXIT_BAD_INPUT = 2


class Refusal(click.ClickException):
    """Bad input: one line on stderr, exit code 2."""

    exit_code = EXIT_BAD_INPUT

    def show(self, file: Any = None) -> None:
        """Write the one line."""
        click.echo(" ".join(self.format_message().split()), err=True)


class OneLineCommand(click.Command):
    """A command that says what is wrong in one line on stderr and ends with exit code 2."""

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,
    ) -> click.Context:
        """Read the options; a wrong one is refused in one line."""
        try:
            return super().make_context(info_name, args, parent, **extra)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except OSError as error:
            raise Refusal(f"{error.filename or 'A file'}: {error.strerror or error}.") from error
        except click.UsageError as error:
            path = _path_of(info_name or self.name or "", parent)
            raise Refusal(f"{error.format_message()} ({path} --help shows how)") from error

    def invoke(self, ctx: click.Context) -> Any:
        """Run; what the science or the desk refuses, and what cannot be read, becomes one line."""
        try:
            return super().invoke(ctx)
        except (CalibrationError, DeskError) as error:
            raise Refusal(str(error)) from error
        except SQLAlchemyError as error:
            said = str(getattr(error, "orig", None) or error).partition("\n")[0]
            raise Refusal(
                f"The store of the desk cannot be read or written ({said}): look at its folder's rights and "
                "its disk, and take a backup aside before anything else."
            ) from error
        except OSError as error:
            raise Refusal(f"{error.filename or 'A file'}: {error.strerror or error}.") from error
        except UnicodeDecodeError as error:
            raise Refusal("A file that was given is not text in UTF-8.") from error
        except RecursionError as error:
            raise Refusal("A file that was given is nested too deep to be one of this desk's.") from error


def _path_of(name: str, parent: click.Context | None) -> str:
    """A command as it is typed: with the groups that it stands in."""
    names = [name]
    while parent is not None and parent.parent is not None:
        names.append(parent.info_name or "")
        parent = parent.parent
    return " ".join(["ohmbath", *reversed(names)])


def above_zero(ctx: click.Context, param: click.Parameter, number: float | None) -> float | None:
    """Callback of an option whose number must be finite and above zero."""
    if number is not None and not 0.0 < number < math.inf:
        raise click.BadParameter(f"{number:g} must be above zero.", ctx=ctx, param=param)
    return number


def above_zero_to(most: float) -> Callable[[click.Context, click.Parameter, float | None], float | None]:
    """Callback of an option whose number must be above zero and at most ``most``."""

    def callback(ctx: click.Context, param: click.Parameter, number: float | None) -> float | None:
        if number is not None and not 0.0 < number <= most:
            raise click.BadParameter(
                f"{number:g} must be above zero and at most {most:g}.", ctx=ctx, param=param
            )
        return number

    return callback


def json_text(fields: Mapping[str, Any]) -> str:
    """JSON of a result: numbers as they are, and nothing that is not JSON."""
    return json.dumps(fields, ensure_ascii=False, allow_nan=False, indent=2)
