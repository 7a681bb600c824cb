"""ohmbath-rig ice: the probe in an ice slush."""

import json
import tempfile
from dataclasses import asdict
from pathlib import Path

import click

from rig.bad_input import BadInputError
from rig.bench_here import log_to_stderr, real, simulated
from rig.errors import RigError
from rig.wiring import load_wiring


@click.command("ice")
@click.option("--simulate", is_flag=True, help="Read a simulated probe in a simulated slush.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated bench.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def command(simulate: bool, seed: int, as_json: bool) -> None:
    """Read the probe in an ice slush for a minute, on its cold range. Stop the service first."""
    from rig.ice_point import read_ice_point

    log_to_stderr()
    with tempfile.TemporaryDirectory(prefix="ohmbath-ice-") as folder:
        bench = simulated(seed=seed, plant=None, data=Path(folder), speed=None) if simulate else real()
        try:
            if simulate:
                bench.hands({"do": "ice"})
                bench.clock.wait_until(bench.clock.monotonic_s() + 900.0)
            found = read_ice_point(bench, load_wiring())
        except RigError as error:
            raise BadInputError(str(error)) from error
        finally:
            bench.close()
    if as_json:
        click.echo(json.dumps({"simulated": simulate, **asdict(found)}))
        return
    click.echo(f"{'SIMULATED. ' if simulate else ''}Probe in ice, mean of {found.readings} readings:")
    click.echo(f"  {found.resistance_ohm:.1f} ohm, single readings scatter by {found.scatter_ohm:.1f} ohm")
    click.echo(f"  drift {found.drift_ohm_per_min:+.1f} ohm a minute; a slush that is ready shows under 5")
    click.echo(
        f"  the range itself may be off by up to {found.range_error_ohm:.0f} ohm there: the decade box"
    )
    click.echo("  ends at 9,999 ohm, so that nothing checks it so far up (hardware/bath.md)")
    click.echo("Hold it against what the probe's certificate gives for 0 °C, and against earlier ones.")
