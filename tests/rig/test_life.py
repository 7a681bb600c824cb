"""A rig's life as a service: watched, put safe whatever is broken, joined by a file, and told what to do."""

import os
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from gpiozero.pins.mock import MockFactory

from calibration.contract.joining import JoinFile, decode_join_file, encode_join_file
from calibration.contract.readings import Quality
from rig.bench import simulated_bench
from rig.cli import main
from rig.clock import SimulatedClock
from rig.desk_watch import LOST_AFTER_S, DeskWatch
from rig.drivers.i2c import locked
from rig.drivers.port_expander import OLATA
from rig.outbox_file import OutboxFile
from rig.safe_state import make_safe, output_gpios
from rig.start_check import channel_lines, start_lines
from rig.trouble import DESK_LOST, NOT_SAFE
from rig.watchdog import Watchdog
from rig.wiring import load_wiring

UNITS = Path(__file__).parents[2] / "hardware" / "systemd"
JOIN = JoinFile(
    station="bench-4", store="store-b", host="desk.local", port=8883, username="bench-4", password="x y"
)


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    """The service manager's end of its socket."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "notify"))
        sock.settimeout(10)
        yield sock


def test_the_service_manager_hears_ready_alive_and_stopping(manager: socket.socket) -> None:
    watchdog = Watchdog({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "20000000"})
    assert watchdog.within_s == 20.0
    watchdog.ready("samples as bench-4")
    watchdog.alive()
    watchdog.stopping()
    said = [manager.recv(200).decode() for _ in range(3)]
    assert said == ["READY=1\nSTATUS=samples as bench-4", "WATCHDOG=1", "STOPPING=1"]


def test_without_a_service_manager_nothing_is_said_and_nothing_fails(tmp_path: Path) -> None:
    Watchdog({}).alive()
    Watchdog({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).alive()


def test_the_unit_is_one_that_the_service_manager_takes(tmp_path: Path) -> None:
    text = (UNITS / "ohmbath-rig.service").read_text("utf-8")
    assert text.count("ohmbath-rig safe") == 2, "before each start and after every stop"
    for line in ("Type=notify", "WatchdogSec=20", "Restart=always", "User=ohmbath", "NoNewPrivileges=yes"):
        assert f"\n{line}\n" in text
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        return  # the lines above are all that can be told here
    unit = tmp_path / "ohmbath-rig.service"
    unit.write_text(text.replace("/opt/ohmbath/.venv/bin/ohmbath-rig", shutil.which("true") or ""), "utf-8")
    checked = subprocess.run([analyze, "verify", str(unit)], capture_output=True, text=True)
    assert checked.returncode == 0, checked.stderr


class _DeadBus:
    def try_lock(self) -> bool:
        return True

    def unlock(self) -> None: ...

    def writeto(self, *_: Any, **__: Any) -> None:
        raise OSError(121, "Remote I/O error")

    writeto_then_readfrom = readfrom_into = writeto


def _latches(bench: Any) -> bytes:
    """What the relay chip drives; its output latches are read as the driver reads them."""
    held = bytearray(2)
    with locked(bench.silicon.i2c_bus) as bus:
        bus.writeto_then_readfrom(0x20, bytes((OLATA,)), held)
    return bytes(held)


def test_safe_puts_every_relay_and_all_excitation_off_and_the_box_to_zero(tmp_path: Path) -> None:
    wiring = load_wiring()
    bench = simulated_bench(
        wiring=wiring, seed=1, plant=None, world_file=tmp_path / "world.json", clock=SimulatedClock()
    )
    bench.set_decade(4700)
    assert _latches(bench) != b"\0\0"
    factory = MockFactory()
    for gpio in output_gpios(wiring):  # as a killed program leaves them
        factory.pin(gpio).function = "output"
        factory.pin(gpio).state = True
    assert make_safe(wiring, i2c_bus=lambda number: bench.silicon.i2c_bus, pin_factory=factory) == []
    for gpio in output_gpios(wiring):
        pin = factory.pin(gpio)
        assert not (pin.function == "output" and pin.state)
    assert len(output_gpios(wiring)) == 9
    assert _latches(bench) == b"\0\0"
    bench.close()


def test_a_chip_that_does_not_answer_keeps_no_relay_on_and_is_named() -> None:
    wiring = load_wiring()
    factory = MockFactory()
    failed = make_safe(wiring, i2c_bus=lambda number: _DeadBus(), pin_factory=factory)
    (words,) = failed
    assert "decade box" in words and "0x20" in words


def test_a_bus_that_is_not_there_is_named_too() -> None:
    def no_bus(number: int) -> Any:
        raise ValueError(f"no bus {number}")

    (words,) = make_safe(load_wiring(), i2c_bus=no_bus, pin_factory=MockFactory())
    assert "no bus 1" in words


class _Wall:
    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_a_desk_is_lost_after_half_a_minute_once_each_time() -> None:
    wall = _Wall()
    watch = DeskWatch(wall)
    wall.now_s = LOST_AFTER_S
    assert not watch.just_lost()
    wall.now_s += 0.1
    assert watch.is_lost() and watch.just_lost() and not watch.just_lost()
    watch.hear()
    assert not watch.is_lost()
    wall.now_s += LOST_AFTER_S + 0.1
    assert watch.just_lost()


def test_a_lost_desk_puts_all_relays_off_and_sampling_goes_on(works: Any) -> None:
    wall = _Wall()
    works.sampler._desk = DeskWatch(wall)
    works.sampler._look_for_desk()
    assert works.bench.times_safe == 0
    wall.now_s = LOST_AFTER_S + 1
    for _ in range(3):
        works.sampler._look_for_desk()
        assert works.sampler._take_pass() is not None
    assert works.bench.times_safe == 1
    assert works.troubles.words() == (DESK_LOST,)
    assert works.bench.shows_trouble
    works.sampler._desk.hear()
    works.sampler._look_for_desk()
    assert works.troubles.words() == ()


def test_relays_that_cannot_be_put_off_are_said_and_sampling_goes_on(works: Any) -> None:
    def stuck() -> None:
        raise OSError("the relay chip does not answer")

    works.bench.safe = stuck
    works.sampler._make_safe()
    assert works.sampler._take_pass() == 1
    assert NOT_SAFE in works.troubles.words()
    del works.bench.safe


def test_every_start_puts_everything_off_first(works: Any, until: Callable[..., None]) -> None:
    works.start_sampling()
    until(lambda: works.outbox.behind() > 0, "a pass is kept")
    assert works.bench.times_safe == 1


def test_the_start_says_what_is_not_well_and_what_to_do(works: Any) -> None:
    lines = " | ".join(start_lines(works.file, works.outbox, synchronised=False))
    assert "ohmbath-rig join FILE" in lines
    assert "timedatectl" in lines
    (line,) = channel_lines(works.bench.sample())
    assert line.startswith(f"infrared is {Quality.CHECKSUM.value}: the checksum does not hold. ")
    assert line.endswith("ohmbath-rig selftest")


def test_channels_are_said_once_and_not_while_relays_have_just_moved(
    works: Any, caplog: Any, until: Any
) -> None:
    caplog.set_level("INFO")
    works.start_sampling()
    until(lambda: works.outbox.behind() > 12, "twelve passes are kept")
    said = [record.getMessage() for record in caplog.records if "at the start" in record.getMessage()]
    (line,) = said
    assert "infrared is checksum" in line
    assert works.bench.clock.monotonic_s() > 2.0


def _run(*arguments: str) -> Any:
    return CliRunner().invoke(main, list(arguments))


def test_a_rig_is_joined_by_its_file_and_follows_it(tmp_path: Path) -> None:
    path = tmp_path / "bench-4.toml"
    path.write_text(encode_join_file(JOIN), "utf-8")
    done = _run("join", str(path), "--data", str(tmp_path / "data"))
    assert done.exit_code == 0, done.output
    assert "This rig is now bench-4" in done.output and "holds a password" in done.output
    database = tmp_path / "data" / "outbox.sqlite"
    assert os.stat(database).st_mode & 0o077 == 0, "nobody else reads the password"
    file = OutboxFile(database)
    assert file.joined == JOIN
    assert file.station == "bench-4"
    file.close()
    for option in (("--broker", "127.0.0.1:1883"), ("--station", "bench-5")):
        refused = _run("run", "--simulate", "--data", str(tmp_path / "data"), *option)
        assert refused.exit_code == 2
        assert "joined" in refused.stderr


def test_a_rig_at_work_is_not_joined(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    file = OutboxFile(tmp_path / "data" / "outbox.sqlite")
    path = tmp_path / "join.toml"
    path.write_text(encode_join_file(JOIN), "utf-8")
    refused = _run("join", str(path), "--data", str(tmp_path / "data"))
    assert refused.exit_code == 2
    assert "Stop that one" in refused.stderr
    file.close()


def test_a_joining_file_says_what_it_was_given_whatever_is_in_it() -> None:
    odd = JoinFile(
        station="b", store="s", host="::1", port=1, username='q"\\', password="é\t\x7f", ca_pem="-----\nA\n"
    )
    assert decode_join_file(encode_join_file(odd)) == odd
    assert "é" not in repr(odd)
