"""Command line of the rig."""

import importlib.metadata
import json
import logging
import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import click

from calibration.contract.topics import is_station

_DESK_ALONE = 2

try:
    from rig.bench import Bench, real_bench, simulated_bench, simulated_start_utc_s
    from rig.clock import RealClock, SimulatedClock
    from rig.connection import BrokerAddress
    from rig.errors import RigError
    from rig.joining import join_rig, new_rig_id, read_join_file
    from rig.link import RigFacts
    from rig.outbox_file import OutboxFile
    from rig.running import RunningRig
    from rig.safe_state import make_safe
    from rig.watchdog import HANGS_AFTER_S, Watchdog
    from rig.wiring import load_wiring
except ModuleNotFoundError as error:  # installed with the host's libraries alone: a desk, and no rig
    click.echo(
        f"ohmbath-rig: {error.name} is not installed: here is a desk and no rig. "
        "Add the rig's libraries: pip install '.[rig]'",
        err=True,
    )
    raise SystemExit(_DESK_ALONE) from error

log = logging.getLogger(__name__)

_STOP_SIGNALS = {signal.SIGINT, signal.SIGTERM}
_LOOK_AT_SAMPLER_S = 1.0
_GPIO_DEVICE = Path("/dev/gpiochip0")


_data_option = click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="OHMBATH_RIG_DATA",
    default=Path("~/.local/share/ohmbath-rig"),
    show_default=True,
    help="Folder of the outbox.",
)

_Made = TypeVar("_Made")


class _BadInputError(click.ClickException):
    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(f"ohmbath-rig: {self.message}", err=True)


def _station(_context: click.Context, _parameter: click.Parameter, text: str | None) -> str | None:
    if text is not None and not is_station(text):
        raise _BadInputError(f"{text!r} is not a station name: use 1 to 32 of a-z, 0-9 and '-'.")
    return text


def _broker(_context: click.Context, _parameter: click.Parameter, text: str | None) -> BrokerAddress | None:
    if text is None:
        return None
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 < int(port) < 65536 or ".." in host:
        raise _BadInputError(f"--broker {text!r} is no address: give HOST:PORT, as in 192.168.1.20:1883.")
    return BrokerAddress(host=host.strip("[]"), port=int(port))


def _speed(_context: click.Context, _parameter: click.Parameter, text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0 < speed < float("inf"):
        raise _BadInputError(f"--speed {text!r} is none: give a number above 0, or max.")
    return speed


def _plant(
    _context: click.Context, _parameter: click.Parameter, text: str | None
) -> tuple[str, float] | None:
    if text is None:
        return None
    from rig.sim.plants import parse_plant

    try:
        return parse_plant(text)
    except RigError as error:
        raise _BadInputError(str(error)) from error


def _artefact(_context: click.Context, _parameter: click.Parameter, text: str | None) -> float | None:
    if text is None:
        return None
    from rig.sim.artefact import check_artefact

    try:
        return check_artefact(float(text))
    except (RigError, ValueError) as error:
        words = str(error) if isinstance(error, RigError) else f"{text!r:.20} is no number of ohms."
        raise _BadInputError(words) from error


@click.group()
@click.version_option(package_name="ohmbath")
def main() -> None:
    """Read an Ohmbath bench and publish what it says."""


@main.command()
@click.option("--simulate", is_flag=True, help="Simulate the silicon and the bath: no hardware is touched.")
@click.option("--plant", callback=_plant, metavar="NAME[:SIZE]", help="Fault to plant; simulation only.")
@click.option(
    "--artefact", "artefact_ohm", callback=_artefact, metavar="OHM",
    help="A resistor beside the bench, for a round through the stations; simulation only.",
)  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated noise.")
@click.option("--station", callback=_station, help="Station name; kept in the data folder from then on.")
@click.option(
    "--broker", callback=_broker, metavar="HOST:PORT",
    help="Where the MQTT broker listens.  [default: as joined, else 127.0.0.1:1883]",
)  # fmt: skip
@_data_option
@click.option(
    "--speed", callback=_speed, default="1", show_default=True, metavar="X|max",
    help="Rig seconds in a wall second; simulation only.",
)  # fmt: skip
@click.option("--until-stdin-ends", is_flag=True, help="End with whoever started it, however that ends.")
def run(
    simulate: bool,
    plant: tuple[str, float] | None,
    artefact_ohm: float | None,
    seed: int,
    station: str | None,
    broker: BrokerAddress | None,
    data: Path,
    speed: float | None,
    until_stdin_ends: bool,
) -> None:
    """Sample the bench until stopped, and send every reading to the desk."""
    _log_to_stderr()
    if not simulate and (plant is not None or artefact_ohm is not None or speed != 1):
        raise _BadInputError("--plant, --artefact and --speed are for a simulated bench: add --simulate.")
    if not simulate:
        _check_gpio()
    data = data.expanduser()
    file = _open_outbox(data, station)
    try:
        address = _address(file, broker)
        # blocked before any thread begins, so that they reach none of them and are waited for below
        signal.pthread_sigmask(signal.SIG_BLOCK, _STOP_SIGNALS)
        # A library's thread is older than that and may be handed one: it must not end the program by itself.
        stop_asked = threading.Event()
        for number in _STOP_SIGNALS:
            signal.signal(number, lambda *_: stop_asked.set())
        if simulate:
            bench = _simulated(seed=seed, plant=plant, data=data, speed=speed, artefact_ohm=artefact_ohm)
        else:
            bench = _real()
    except BaseException:
        file.close()
        raise
    facts = RigFacts(
        speed=(speed or 0.0) if simulate else 1.0,
        simulated=simulate,
        version=importlib.metadata.version("ohmbath"),
    )
    rig = RunningRig(bench=bench, file=file, broker=address, facts=facts)
    watchdog = Watchdog()
    if until_stdin_ends:
        threading.Thread(target=_end_with_stdin, name="stdin", daemon=True).start()
    rig.start()
    watchdog.ready(f"samples as {file.station}, boot {file.boot}")
    while rig.is_sampling() and not stop_asked.is_set():
        if signal.sigtimedwait(_STOP_SIGNALS, _LOOK_AT_SAMPLER_S) is not None:
            break
        if time.monotonic() - rig.turned_at_s() < HANGS_AFTER_S:
            watchdog.alive()
    watchdog.stopping()
    if not rig.stop():
        sys.exit(1)


def _end_with_stdin() -> None:
    """A starter that is killed closes its end of the pipe, and says nothing else."""
    while os.read(sys.stdin.fileno(), 4096):  # a buffered read would hold a lock that the end needs
        pass
    signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)


@main.command()
def safe() -> None:
    """Put all relays and all excitation off, and end. The service unit runs it after every stop.

    Each part is tried by itself, so that one that is broken keeps no other on. Exit code 1 if any failed.
    """
    _log_to_stderr()
    _check_gpio()
    failed = _made(lambda: make_safe(load_wiring()))
    for words in failed:
        log.error("not off: %s", words)
    if failed:
        log.error("take the bench's supply away, then look at what is named above")
        sys.exit(1)


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@_data_option
@click.option(
    "--copied-card", is_flag=True,
    help="This card is a copy of another rig's: take an id of its own, and leave the other's readings to it.",
)  # fmt: skip
def join(file: Path, data: Path, copied_card: bool) -> None:
    """Tie this rig to one desk, with the FILE that `ohmbath station add NAME --join-file FILE` wrote.

    From then on it follows that desk's store and no other. What it still holds is sent there.
    """
    try:
        wanted = read_join_file(file)
        outbox = _open_outbox(data.expanduser(), None, starts_boot=False)
        try:
            if copied_card:
                new_rig_id(outbox)
            words = join_rig(outbox, wanted)
        finally:
            outbox.close()
    except RigError as error:
        raise _BadInputError(str(error)) from error
    click.echo(
        f"This rig is now {wanted.station}. {words} Start it, then delete {file}: it holds a password."
    )


@main.command()
@click.argument("plant", callback=_plant, metavar="[NAME[:SIZE]]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def plants(plant: tuple[str, float] | None, as_json: bool) -> None:
    """List the faults that a simulated bench can have planted, or check that one of them can be.

    A fault given without a size has the one that the list gives.
    """
    from rig.sim.plants import PLANTS, part_of

    if plant is not None:
        name, size = plant
        click.echo(f"{name}:{size:g} {PLANTS[name].unit}: {PLANTS[name].effect}")
        return
    if as_json:
        found = [
            {
                "name": kind.name,
                "unit": kind.unit,
                "part": part_of((kind.name, kind.size)),
                "size": kind.size,
                "lowest": kind.lowest,
                "highest": kind.highest,
                "selftest": kind.selftest,
                "effect": kind.effect,
            }
            for kind in PLANTS.values()
        ]
        click.echo(json.dumps({"plants": found}))
        return
    for kind in PLANTS.values():
        seen = "; the self-test sees it" if kind.selftest else ""
        click.echo(f"{kind.name:<23} {kind.effect} ({kind.size:g} {kind.unit}{seen})")


@main.command()
@click.option(
    "--schematic", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.svg",
    help="Draw the circuit into this file, too.",
)  # fmt: skip
def wiring(schematic: Path | None) -> None:
    """Print the wiring map: pins, ranges, inputs, buses, relays."""
    from rig.wiring_table import wiring_lines

    try:
        found = load_wiring()
        if schematic is not None:
            from rig.schematic import schematic_svg

            schematic.write_bytes(schematic_svg(found))
    except RigError as error:
        raise _BadInputError(str(error)) from error
    except OSError as error:
        raise _BadInputError(
            f"{schematic} cannot be written ({error.strerror}): give another file."
        ) from error
    click.echo("\n".join(wiring_lines(found)))


@main.command()
@click.option("--simulate", is_flag=True, help="Read a simulated probe in a simulated slush.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated bench.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def ice(simulate: bool, seed: int, as_json: bool) -> None:
    """Read the probe in an ice slush for a minute, on its cold range. Stop the service first."""
    from rig.ice_point import read_ice_point

    _log_to_stderr()
    with tempfile.TemporaryDirectory(prefix="ohmbath-ice-") as folder:
        bench = _simulated(seed=seed, plant=None, data=Path(folder), speed=None) if simulate else _real()
        try:
            if simulate:
                bench.hands({"do": "ice"})
                bench.clock.wait_until(bench.clock.monotonic_s() + 900.0)
            found = read_ice_point(bench, load_wiring())
        except RigError as error:
            raise _BadInputError(str(error)) from error
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


@main.command()
@click.option("--simulate", is_flag=True, help="Test a simulated bench: no hardware is touched.")
@click.option("--plant", callback=_plant, metavar="NAME[:SIZE]", help="Fault to plant; simulation only.")
@click.option("--seed", type=int, default=1, show_default=True, help="Seed of the simulated bench.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def selftest(simulate: bool, plant: tuple[str, float] | None, seed: int, as_json: bool) -> None:
    """Test every chip, relay and range against the decade box; under two minutes on a real bench.

    Stop the service first. Exit code 0: all good; 1: a part failed; 2: the test could not be run.
    """
    from rig.selftest import report_lines, run_selftest

    _log_to_stderr()
    if plant is not None and not simulate:
        raise _BadInputError("--plant is for a simulated bench: add --simulate.")
    with tempfile.TemporaryDirectory(prefix="ohmbath-selftest-") as folder:
        if simulate:
            bench = _simulated(seed=seed, plant=plant, data=Path(folder), speed=None)
        else:
            bench = _real()
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


@main.command()
@click.option(
    "--hours", type=float, default=1.0, show_default=True, help="Simulated hours, for speed and memory."
)
@click.option("--jitter", "jitter_s", type=float, default=20.0, show_default=True, help="Seconds of jitter.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def benchmark(hours: float, jitter_s: float, as_json: bool) -> None:
    """Measure speed, memory and jitter of this rig on this machine, on simulated silicon."""
    from rig.benchmark import run_benchmark

    if not 0.01 <= hours <= 48 or not 1 <= jitter_s <= 3600:
        raise _BadInputError("--hours is 0.01 to 48, --jitter 1 to 3600 seconds.")
    logging.disable(logging.WARNING)
    figures = run_benchmark(simulated_hours=hours, jitter_s=jitter_s, bursts=5)
    if as_json:
        click.echo(json.dumps(figures.as_json()))
        return
    for line in figures.lines():
        click.echo(line)


def _address(file: OutboxFile, wanted: BrokerAddress | None) -> BrokerAddress:
    """Where the broker is: as joined, or as asked, or on this machine."""
    joined = file.joined
    if joined is None:
        return wanted or BrokerAddress(host="127.0.0.1", port=1883)
    if wanted is not None:
        raise _BadInputError(
            f"this rig is joined to a desk at {joined.host}:{joined.port}: leave --broker out, or join anew."
        )
    return BrokerAddress(
        host=joined.host,
        port=joined.port,
        username=joined.username,
        password=joined.password,
        ca_pem=joined.ca_pem,
    )


def _open_outbox(data: Path, station: str | None, *, starts_boot: bool = True) -> OutboxFile:
    try:
        data.mkdir(parents=True, exist_ok=True)
        return OutboxFile(data / "outbox.sqlite", station=station, starts_boot=starts_boot)
    except OSError as error:
        raise _BadInputError(f"{data} cannot be made ({error.strerror}): give another --data.") from error
    except RigError as error:
        raise _BadInputError(str(error)) from error


def _simulated(
    *,
    seed: int,
    plant: tuple[str, float] | None,
    data: Path,
    speed: float | None,
    artefact_ohm: float | None = None,
) -> Bench:
    world_file = data / "world.json"
    if plant is not None and world_file.exists():
        log.info("the bath of %s is taken up with the sender that it has; --plant is for a new one", data)

    def make() -> Bench:
        clock = SimulatedClock(speed=speed, start_utc_s=simulated_start_utc_s(world_file, time.time()))
        return simulated_bench(
            wiring=load_wiring(),
            seed=seed,
            plant=plant,
            world_file=world_file,
            clock=clock,
            artefact_ohm=artefact_ohm,
        )

    return _made(make)


def _real() -> Bench:
    """Bench on metal. Untested on a Raspberry Pi."""
    _check_gpio()
    return _made(lambda: real_bench(wiring=load_wiring(), clock=RealClock()))


def _check_gpio() -> None:
    if not _GPIO_DEVICE.exists():
        raise _BadInputError(
            f"there is no GPIO here ({_GPIO_DEVICE} is missing): run this on the Raspberry Pi, "
            "or take `ohmbath-rig run --simulate`."
        )


def _made(make: Callable[[], _Made]) -> _Made:
    try:
        return make()
    except (RigError, OSError, ImportError) as error:
        raise _BadInputError(f"the bench cannot be set up: {error}") from error


def _log_to_stderr() -> None:
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="ohmbath-rig: %(message)s")
