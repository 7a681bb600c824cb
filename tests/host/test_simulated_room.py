"""A room of simulated stations as the desk starts it: real broker, real rigs."""

import contextlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from host.broker import EmbeddedBroker, free_port
from host.data_folder import DataFolder
from host.desk import Desk
from host.errors import DeskError
from host.live import StationState
from host.simulated_bench import BenchState
from host.web.app import create_app

pytestmark = pytest.mark.slow

A_METER = """
kind = "meter"
serial = "M-1"
certificate = "R-1"
issuer = "nobody at all"
issued = 2020-01-01
k = 2.0
[[point]]
shown_ohm = 100.0
correction_ohm = 0.0
expanded_u_ohm = 0.1
"""
OHMBATH = Path(sys.executable).parent / "ohmbath"


def processes_naming(text: str) -> list[str]:
    found = []
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            words = process.read_bytes().replace(b"\0", b" ").decode("utf-8", "replace")
            if text in words:
                found.append(words)
    return found


def are_heard(room) -> bool:
    return all(bench.state is BenchState.HEARD for bench in room.benches)


def test_each_station_rests_on_its_own_instruments_and_one_that_dies_is_said_and_started_again(
    broker_desk, until
):
    room = broker_desk.simulated_room
    room.start(3)
    until(lambda: are_heard(room), "three stations are heard", 60.0)
    stations = [bench.station for bench in room.benches]
    assert stations == ["station-1", "station-2", "station-3"]
    for kind in ("probe", "decade_box"):
        own = [broker_desk.store.register.current(kind, station=station) for station in stations]
        assert [one.station for one in own] == stations
        assert len({one.serial for one in own}) == 3

    dying = room.benches[1]
    os.kill(dying.pid, signal.SIGKILL)
    until(lambda: room.has_died("station-2"), "the death is noticed")
    until(lambda: broker_desk.live.station("station-2").state is StationState.GONE, "its silence is said")
    assert not room.has_died("station-1")
    pages = create_app(broker_desk).test_client()
    page = pages.get("/begin").text
    assert "The rig of station-2 has ended by itself" in page and "Start station-2 again" in page

    others = [room.benches[0].pid, room.benches[2].pid]
    boot = broker_desk.live.station("station-2").boot
    room.start_again("station-2")
    until(lambda: are_heard(room), "all three are heard again", 60.0)
    until(lambda: broker_desk.live.latest("station-2").boot > boot, "it reads on", 60.0)
    assert [room.benches[0].pid, room.benches[2].pid] == others
    with pytest.raises(DeskError, match="no station of the simulated room"):
        room.start_again("bench-9")

    room.stop()
    assert not room.is_on
    assert processes_naming(str(broker_desk.folder.path / "simulated-room")) == []


@pytest.mark.parametrize("count", [0, 17])
def test_a_room_has_a_size_that_a_machine_can_bear(broker_desk, count):
    with pytest.raises(DeskError, match="1 to 16 stations"):
        broker_desk.simulated_room.start(count)


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_served_room_leaves_nothing_behind_however_it_ends(tmp_path, until, number):
    data = tmp_path / "data"
    said = tmp_path / "said"
    with said.open("w") as file:
        demo = subprocess.Popen(
            [str(OHMBATH), "demo", "--room", "3", "--port", str(free_port()), "--data", str(data)],
            stderr=file,
        )
    try:
        until(lambda: "Pages: http" in said.read_text(), "the pages are served", 60.0)
        assert len(processes_naming(str(data / "simulated-room"))) == 3
        demo.send_signal(number)
        assert demo.wait(30) == (0 if number is signal.SIGTERM else -signal.SIGKILL)
        until(lambda: not processes_naming(str(data)), "every process of the room is gone", 30)
    finally:
        demo.kill()
        demo.wait()


@pytest.mark.timeout(300)
def test_a_check_at_each_of_two_stations_at_once_comes_to_the_verdict_of_its_own_sender(tmp_path):
    ended = subprocess.run(
        [str(OHMBATH), "demo", "--room", "2", "--no-serve", "--json", "--plant", "series:30", "--data"]
        + [str(tmp_path / "data")],
        capture_output=True,
        text=True,
        timeout=280,
    )
    assert ended.returncode == 0, ended.stderr
    checks = json.loads(ended.stdout)["checks"]
    # 30 Ω in 269 Ω at 85 °C is 11 %, against a printed tolerance of 5 %; it sits in every second sender.
    assert {check["item"]: check["verdict"] for check in checks} == {
        "Sender at station-1": "in_tolerance",
        "Sender at station-2": "out_of_tolerance",
    }
    assert "of 2 stations are stored, 0 of them were lost" in ended.stderr


def test_a_room_comes_back_with_its_desk_until_somebody_switches_it_off(tmp_path, until):
    broker = EmbeddedBroker(free_port(), folder=DataFolder(tmp_path).broker)
    broker.start()
    try:

        def new_desk() -> Desk:
            desk = Desk(DataFolder(tmp_path).lock(), broker_host="127.0.0.1", broker_port=broker.port)
            desk.start()
            return desk

        desk = new_desk()
        assert not desk.simulated_room.is_on
        desk.simulated_room.start(2)
        until(lambda: are_heard(desk.simulated_room), "two stations are heard", 60.0)
        desk.stop()
        assert processes_naming(str(tmp_path / "simulated-room")) == []

        desk = new_desk()
        assert [one.station for one in desk.simulated_room.benches] == ["station-1", "station-2"]
        until(lambda: are_heard(desk.simulated_room), "both are heard again", 60.0)
        page = create_app(desk).test_client().get("/begin").text
        assert "comes back with it" in page and "Switch the room off" in page
        desk.simulated_room.switch_off()
        desk.stop()

        desk = new_desk()
        assert not desk.simulated_room.is_on
        # A real instrument has come in meanwhile: nothing simulated starts by itself beside it.
        (tmp_path / "simulated-room" / "station-1" / "switched-on").touch()
        desk.store.register.add_text(A_METER)
        desk.stop()
        desk = new_desk()
        assert not desk.simulated_room.is_on
        desk.stop()
    finally:
        broker.stop()
