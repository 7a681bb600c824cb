"""The command that shows the main job on a simulated bench."""

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from calibration.conformity import Verdict
from host.demo import DemoCheck, check_plant, checks_json, fresh_folder, running_demo, share_done
from host.one_line import OneLineCommand
from host.procedures.runs_at_work import RunView
from host.procedures.sender_check_settings import Course
from host.serving import USUAL_PORT, interrupt_on_sigterm, serve_pages

_LOOK_EVERY_S = 0.05

# What a shell expects of a program that was interrupted before it had done its work.
_INTERRUPTED = 130

Follow = Callable[[str, Callable[[], RunView]], None]


@click.command(name="demo", cls=OneLineCommand)
@click.option(
    "--seed", type=int, default=1, show_default=True, help="Seed of the world; timing moves last digits."
)
@click.option(
    "--plant", default="series:22", show_default=True, help="Fault in the second sender, NAME[:SIZE]."
)
@click.option(
    "--course",
    type=click.Choice([course.value for course in Course]),
    default=Course.PLATEAUS.value,
    show_default=True,
    help="How the bath goes through the set points.",
)
@click.option("--data", type=click.Path(path_type=Path), help="Fresh folder for everything. [default: new]")
@click.option("--no-serve", is_flag=True, help="End after the checks instead of serving the pages.")
@click.option("--port", type=int, default=USUAL_PORT, show_default=True, help="Port of the pages.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON alone.")
def command(
    seed: int, plant: str, course: str, data: Path | None, no_serve: bool, port: int, as_json: bool
) -> None:
    """Check two senders on a simulated bench, from the bath to their certificates."""
    console = Console(stderr=True)

    def say(words: str) -> None:
        console.print(words, markup=False, highlight=False, soft_wrap=True)

    interrupt_on_sigterm()
    checks: tuple[DemoCheck, ...] = ()
    try:
        check_plant(plant)
        folder = fresh_folder(data)
        say(f"Everything of this demo lands in {folder.path}")
        with running_demo(folder, seed=seed, plant=plant, say=say, course=Course(course)) as demo:
            with _bars(console) as follow:
                checks = demo.run_both(follow)
            if as_json:
                click.echo(checks_json(checks))
            else:
                _print_verdicts(checks)
            if not no_serve:
                demo.slow_down()
                serve_pages(demo.desk, port=port, say=say)
    except KeyboardInterrupt:
        say("Stopped.")
        if not checks:
            sys.exit(_INTERRUPTED)


@contextlib.contextmanager
def _bars(console: Console) -> Iterator[Follow]:
    """Give a function that shows the progress of one run until it is over."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(bar_width=20),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console) as progress:

        def follow(item: str, view: Callable[[], RunView]) -> None:
            task = progress.add_task(item.split(",")[0], total=1.0)
            while not (now := view()).state.is_over:
                progress.update(task, completed=share_done(now.state))
                time.sleep(_LOOK_EVERY_S)
            progress.update(task, completed=1.0)

        yield follow


def _print_verdicts(checks: tuple[DemoCheck, ...]) -> None:
    for check in checks:
        if check.verdict is None:
            click.echo(f"{check.item}: no result. {check.reason}")
            continue
        click.echo(f"{check.item}: {Verdict(check.verdict).words}")
        click.echo(f"    certificate: {check.certificate}")
