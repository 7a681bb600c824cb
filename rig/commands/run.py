"""ohmbath-rig run: sample the bench and send every reading to the desk."""

import importlib.metadata
import os
import signal
import sys
import threading
import time
from pathlib import Path

import click

from calibration.contract.topics import is_station
from rig.bad_input import BadInputError
from rig.bench_here import check_gpio, log_to_stderr, real, simulated
from rig.connection import BrokerAddress
from rig.data_folder import data_option, open_outbox
from rig.errors import RigError
from rig.link import RigFacts
from rig.outbox_file import OutboxFile
from rig.plant_option import planted
from rig.running import RunningRig
from rig.watchdog import HANGS_AFTER_S, Watchdog

_STOP_SIGNALS = {signal.SIGINT, signal.SIGTERM}
_LOOK_AT_SAMPLER_S = 1.0


def _station(_context: click.Context, _parameter: click.Parameter, text: str | None) -> str | None:
    if text is not None and not is_station(text):
        raise BadInputError(f"{text!r} is not a station name: use 1 to 32 of a-z, 0-9 and '-'.")
    return text


def _broker(_context: click.Context, _parameter: click.Parameter, text: str | None) -> BrokerAddress | None:
    if text is None:
        return None
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdecimal() or not 0 < int(port) < 65536 or ".." in host:
        raise BadInputError(f"--broker {text!r} is no address: give HOST:PORT, as in 192.168.1.20:1883.")
    return BrokerAddress(host=host.strip("[]"), port=int(port))


def _speed(_context: click.Context, _parameter: click.Parameter, text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0 < speed < float("inf"):
        raise BadInputError(f"--speed {text!r} is none: give a number above 0, or max.")
    return speed


def _artefact(_context: click.Context, _parameter: click.Parameter, text: str | None) -> float | None:
    if text is None:
        return None
    from rig.sim.artefact import check_artefact

    try:
        return check_artefact(float(text))
    except (RigError, ValueError) as error:
        words = str(error) if isinstance(error, RigError) else f"{text!r:.20} is no number of ohms."
        raise BadInputError(words) from error


@click.command("run")
@click.option("--simulate", is_flag=True, help="Simulate the silicon and the bath: no hardware is touched.")
@click.option("--plant", callback=planted, metavar="NAME[:SIZE]", help="Fault to plant; simulation only.")
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
@data_option
@click.option(
    "--speed", callback=_speed, default="1", show_default=True, metavar="X|max",
    help="Rig seconds in a wall second; simulation only.",
)  # fmt: skip
@click.option("--until-stdin-ends", is_flag=True, help="End with whoever started it, however that ends.")
def command(
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
    log_to_stderr()
    if not simulate and (plant is not None or artefact_ohm is not None or speed != 1):
        raise BadInputError("--plant, --artefact and --speed are for a simulated bench: add --simulate.")
    if not simulate:
        check_gpio()
    data = data.expanduser()
    file = open_outbox(data, station)
    try:
        address = _address(file, broker)
        # blocked before any thread begins, so that they reach none of them and are waited for below
        signal.pthread_sigmask(signal.SIG_BLOCK, _STOP_SIGNALS)
        # A library's thread is older than that and may be handed one: it must not end the program by itself.
        stop_asked = threading.Event()
        for number in _STOP_SIGNALS:
            signal.signal(number, lambda *_: stop_asked.set())
        if simulate:
            bench = simulated(seed=seed, plant=plant, data=data, speed=speed, artefact_ohm=artefact_ohm)
        else:
            bench = real()
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


def _address(file: OutboxFile, wanted: BrokerAddress | None) -> BrokerAddress:
    """Where the broker is: as joined, or as asked, or on this machine."""
    joined = file.joined
    if joined is None:
        return wanted or BrokerAddress(host="127.0.0.1", port=1883)
    if wanted is not None:
        raise BadInputError(
            f"this rig is joined to a desk at {joined.host}:{joined.port}: leave --broker out, or join anew."
        )
    return BrokerAddress(
        host=joined.host,
        port=joined.port,
        username=joined.username,
        password=joined.password,
        ca_pem=joined.ca_pem,
    )
