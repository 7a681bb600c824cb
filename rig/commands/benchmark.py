"""ohmbath-rig benchmark: speed, memory and jitter of a rig on this machine."""

import json
import logging

import click

from rig.bad_input import BadInputError


@click.command("benchmark")
@click.option(
    "--hours", type=float, default=1.0, show_default=True, help="Simulated hours, for speed and memory."
)
@click.option("--jitter", "jitter_s", type=float, default=20.0, show_default=True, help="Seconds of jitter.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def command(hours: float, jitter_s: float, as_json: bool) -> None:
    """Measure speed, memory and jitter of this rig on this machine, on simulated silicon."""
    from rig.benchmark import run_benchmark

    if not 0.01 <= hours <= 48 or not 1 <= jitter_s <= 3600:
        raise BadInputError("--hours is 0.01 to 48, --jitter 1 to 3600 seconds.")
    logging.disable(logging.WARNING)
    figures = run_benchmark(simulated_hours=hours, jitter_s=jitter_s, bursts=5)
    if as_json:
        click.echo(json.dumps(figures.as_json()))
        return
    for line in figures.lines():
        click.echo(line)
