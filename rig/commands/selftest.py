"""ohmbath-rig selftest: every chip, relay and range against the decade box."""

import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

import click

from rig.bad_input import BadInputError
from rig.bench_here import log_to_stderr, real, simulated
from rig.plant_option import planted
from rig.wiring import load_wiring


@click.command("selftest")
@click.option("--simulate", is_flag=True, help="Test a simulated bench: no hardware is touched.")
@click.option("--plant", callback=planted, metavar="NAME[:SIZE]", help="Fault to plant; simulation only.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated bench.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def command(simulate: bool, plant: tuple[str, float] | None, seed: int, as_json: bool) -> None:
    """Test every chip, relay and range against the decade box; under two minutes on a real bench.

    Stop the service first. Exit code 0: all good; 1: a part failed; 2: the test could not be run.
    """
    from rig.selftest import report_lines, run_selftest

    log_to_stderr()
    if plant is not None and not simulate:
        raise BadInputError("--plant is for a simulated bench: add --simulate.")
    with tempfile.TemporaryDirectory(prefix="ohmbath-selftest-") as folder:
        if simulate:
            bench = simulated(seed=seed, plant=plant, data=Path(folder), speed=None)
        else:
            bench = real()
        try:
            report = run_selftest(bench, load_wiring())
        finally:
            bench.close()
    if as_json:
        parts = [asdict(part) for part in report.parts]
        left_out = [{"part": part, "why": why} for part, why in report.not_judged]
        found = {"ok": report.ok, "simulated": report.simulated, "parts": parts, "not_judged": left_out}
        click.echo(json.dumps(found))
    else:
        click.echo("\n".join(report_lines(report)))
    sys.exit(0 if report.ok else 1)
