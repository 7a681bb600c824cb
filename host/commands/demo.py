"""The command that shows the main job on a simulated bench."""

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from calibration.conformity import Verdict
from host.demo import (
    AUTHORISES,
    MEASURES,
    DemoCheck,
    check_plant,
    checks_json,
    fresh_folder,
    running_demo,
    share_done,
)
from host.demo_room import Views, running_room
from host.desk import Desk
from host.one_line import OneLineCommand
from host.procedures.runs_at_work import RunView
from host.procedures.sender.sender_check_settings import Course
from host.serving import USUAL_PORT, interrupt_on_sigterm, serve_pages
from host.simulated_room import MOST_STATIONS

_LOOK_EVERY_S = 0.05

# What a shell expects of a program that was interrupted before it had done its work.
_INTERRUPTED = 130

Say = Callable[[str], None]
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
@click.option(
    "--room",
    "stations",
    type=click.IntRange(1, MOST_STATIONS),
    help="So many stations for a class; with --no-serve a check at each of them at once.",
)
@click.option("--data", type=click.Path(path_type=Path), help="Fresh folder for everything. [default: new]")
@click.option("--no-serve", is_flag=True, help="End after the checks instead of serving the pages.")
@click.option("--port", type=int, default=USUAL_PORT, show_default=True, help="Port of the pages.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON alone.")
def command(
    seed: int,
    plant: str,
    course: str,
    stations: int | None,
    data: Path | None,
    no_serve: bool,
    port: int,
    as_json: bool,
) -> None:
    """Check two senders on a simulated bench, from the bath to their certificates."""
    console = Console(stderr=True)

    def say(words: str) -> None:
        console.print(words, markup=False, highlight=False, soft_wrap=True)

    def serve(desk: Desk, takes_all_for: str = "") -> None:
        try:
            serve_pages(desk, port=port, say=say, takes_all_for=takes_all_for)
        except KeyboardInterrupt:
            say("Stopped.")

    interrupt_on_sigterm()
    try:
        check_plant(plant)
        folder = fresh_folder(data)
        say(f"Everything of this demo lands in {folder.path}")
        if stations is None:
            with running_demo(folder, seed=seed, plant=plant, say=say, course=Course(course)) as demo:
                with _bars(console) as follow:
                    checks = demo.run_both(follow)
                _tell(checks, as_json=as_json)
                if not no_serve:
                    demo.slow_down()
                    say(f"The pages take you for {MEASURES}. {AUTHORISES} let both papers out.")
                    serve(demo.desk, MEASURES)
            return
        with running_room(folder, stations=stations, seed=seed, plant=plant, leads=no_serve, say=say) as room:
            if not no_serve:
                say(f"{stations} simulated stations are heard; /wall shows them all.")
                say(
                    "A resistor of 1 kΩ is ready to go round them: /rounds. For whoever leads it: "
                    f"{room.badly_clipped} holds it in corroded clips."
                )
                serve(room.desk)
                return
            with _bars(console) as follow:
                checks = room.check_all(Course(course), _all_at_once(follow))
            _tell(checks, as_json=as_json)
            stored, lost = room.readings_stored()
            say(f"{stored:,} readings of {stations} stations are stored, {lost:,} of them were lost.")
    except KeyboardInterrupt:
        say("Stopped.")
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


def _all_at_once(follow: Follow) -> Callable[[Views], None]:
    """Follow several runs, a bar each, until all are over."""

    def follow_all(views: Views) -> None:
        with ThreadPoolExecutor(max_workers=len(views)) as together:
            for followed in [together.submit(follow, item, view) for item, view in views.items()]:
                followed.result()

    return follow_all


def _tell(checks: tuple[DemoCheck, ...], *, as_json: bool) -> None:
    if as_json:
        click.echo(checks_json(checks))
    else:
        _print_verdicts(checks)


def _print_verdicts(checks: tuple[DemoCheck, ...]) -> None:
    for check in checks:
        if check.verdict is None:
            click.echo(f"{check.item}: no result. {check.reason}")
            continue
        click.echo(f"{check.item}: {Verdict(check.verdict).words}")
        click.echo(f"    certificate: {check.certificate}")
