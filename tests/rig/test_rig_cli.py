"""The rig's command line, as a process of its own."""

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from calibration.contract.senml import decode_readings
from rig.cli import main

Until = Callable[..., None]
Make = Callable[..., Any]

DEADLINE_S = 30.0


class RigProcess:
    """`ohmbath-rig run --simulate` on one data folder."""

    def __init__(self, port: int, data: Path, *options: str) -> None:
        command = [sys.executable, "-c", "from rig.cli import main; main()", "run", "--simulate"]
        command += ["--speed", "max", "--broker", f"127.0.0.1:{port}", "--data", str(data), *options]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)

    def end(self, signal_number: int) -> tuple[int, str]:
        """Signal it; exit code and everything it said."""
        self.process.send_signal(signal_number)
        _, words = self.process.communicate(timeout=DEADLINE_S)
        return self.process.returncode, words


@pytest.fixture
def start_rig(mosquitto: Any, tmp_path: Path) -> Iterator[Callable[..., RigProcess]]:
    rigs: list[RigProcess] = []

    def start(*options: str) -> RigProcess:
        rigs.append(RigProcess(mosquitto.port, tmp_path / "data", *options))
        return rigs[-1]

    yield start
    for rig in rigs:
        if rig.process.poll() is None:
            rig.end(signal.SIGKILL)
        if rig.process.stderr is not None:
            rig.process.stderr.close()


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize("command", main.commands.values(), ids=lambda command: str(command.name))
def test_every_command_explains_itself(command: Any) -> None:
    assert command.help
    assert all(option.help for option in command.params if isinstance(option, click.Option))


@pytest.mark.parametrize("command", ["run", "safe"])
def test_a_machine_without_pins_is_told_so_in_one_line(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.bench_here._GPIO_DEVICE", tmp_path / "gpiochip0")
    arguments = [command, "--data", str(tmp_path / "data")] if command == "run" else [command]
    result = _run(*arguments)
    assert result.exit_code == 2
    assert "--simulate" in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--station", "Bench 3", "a-z"),
        ("--broker", "localhost", "HOST:PORT"),
        ("--broker", "localhost:70000", "HOST:PORT"),
        ("--speed", "fast", "above 0"),
        ("--speed", "-1", "above 0"),
        ("--speed", "nan", "above 0"),
        ("--plant", "gremlin:3", "gremlin"),
        ("--plant", "series:much", "series"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(option: str, value: str, words: str, tmp_path: Path) -> None:
    result = _run("run", "--simulate", "--data", str(tmp_path / "data"), option, value)
    assert result.exit_code == 2
    assert words in result.stderr
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "data").exists()


def test_a_fault_cannot_be_planted_in_a_real_sender() -> None:
    result = _run("run", "--plant", "series:22")
    assert result.exit_code == 2
    assert "--simulate" in result.stderr


def test_the_faults_that_can_be_planted_are_listed() -> None:
    listed = _run("plants")
    as_json = json.loads(_run("plants", "--json").stdout)
    names = [plant["name"] for plant in as_json["plants"]]
    assert "series" in names
    assert [line.split()[0] for line in listed.stdout.splitlines()] == names


@pytest.mark.slow
@pytest.mark.broker
@pytest.mark.parametrize("signal_number", [signal.SIGTERM, signal.SIGINT])
def test_a_stopped_rig_says_that_it_is_gone_and_ends_well(
    signal_number: int, start_rig: Make, mosquitto: Any, make_desk: Make
) -> None:
    desk = make_desk(mosquitto.port, station="bench-7")
    rig = start_rig("--station", "bench-7")
    desk.wait_for(lambda: len(desk.packs) >= 5, "readings came")
    exit_code, words = rig.end(signal_number)
    assert exit_code == 0
    boot = min(desk.packs)[0]
    assert f"sampling as bench-7, boot {boot}" in words
    assert "Traceback" not in words
    desk.wait_for(lambda: desk.presences[-1].state == "gone", "the rig said that it is gone")


@pytest.mark.slow
@pytest.mark.broker
def test_a_rig_killed_at_any_moment_goes_on_in_the_same_bath_with_every_number_once(
    start_rig: Make, mosquitto: Any, make_desk: Make
) -> None:
    desk = make_desk(mosquitto.port)
    for kill in range(3):
        rig = start_rig("--seed", "5")
        aim = len(desk.packs) + 23 + 7 * kill
        desk.wait_for(lambda aim=aim: len(desk.packs) >= aim, "readings came")
        rig.end(signal.SIGKILL)
    rig = start_rig("--seed", "5")
    desk.wait_for(lambda: len({boot for boot, _ in desk.packs}) == 4, "the last boot came")
    exit_code, _ = rig.end(signal.SIGTERM)
    assert exit_code == 0

    boots = sorted({boot for boot, _ in desk.packs})
    assert [boot[:8] for boot in boots] == ["00000001", "00000002", "00000003", "00000004"]
    for boot in boots:
        numbers = sorted(seq for each, seq in desk.packs if each == boot)
        assert numbers == list(range(1, len(numbers) + 1))
    assert desk.conflicts == 0
    packs = [decode_readings(desk.packs[key], station="station-1") for key in sorted(desk.packs)]
    assert len({pack.rig for pack in packs}) == 1
    probe_ohm = [pack.channels["probe"].value for pack in packs if pack.channels["probe"].value is not None]
    # nobody heats it, so the bath stays near the room's temperature through all kills
    assert max(probe_ohm) < 1.2 * min(probe_ohm)


@pytest.mark.slow
@pytest.mark.broker
def test_a_second_rig_on_the_same_data_folder_ends_at_once_in_words(
    start_rig: Make, mosquitto: Any, make_desk: Make
) -> None:
    desk = make_desk(mosquitto.port)
    first = start_rig()
    desk.wait_for(lambda: len(desk.packs) >= 1, "the first rig is at work")
    second = start_rig()
    _, words = second.process.communicate(timeout=DEADLINE_S)
    assert second.process.returncode == 2
    assert "in use by another rig program" in words
    assert first.end(signal.SIGTERM)[0] == 0


@pytest.mark.slow
def test_a_rig_with_no_broker_says_so_and_stops_when_told(tmp_path: Path) -> None:
    rig = RigProcess(1, tmp_path / "data")  # nothing listens on port 1
    assert rig.process.stderr is not None
    said = ""
    while "no broker at 127.0.0.1:1" not in said:
        line = rig.process.stderr.readline()
        assert line, "the rig ended by itself"
        said += line
    exit_code, _ = rig.end(signal.SIGTERM)
    assert exit_code == 0


@pytest.mark.slow
@pytest.mark.parametrize("by_signal", [True, False])
def test_a_rig_that_goes_with_its_starter_ends_well_both_ways(tmp_path: Path, by_signal: bool) -> None:
    command = [
        sys.executable,
        "-c",
        "from rig.cli import main; main()",
        "run",
        "--simulate",
        "--speed",
        "max",
    ]
    command += ["--broker", "127.0.0.1:1", "--data", str(tmp_path / "data"), "--until-stdin-ends"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as rig:
        assert rig.stdin is not None and rig.stderr is not None
        said = ""
        while "no broker" not in said:
            line = rig.stderr.readline()
            assert line, f"the rig ended by itself: {said}"
            said += line
        if by_signal:
            rig.send_signal(signal.SIGTERM)
            assert rig.wait(DEADLINE_S) == 0
        else:
            rig.stdin.close()
            assert rig.wait(DEADLINE_S) == 0
        assert "Fatal" not in rig.stderr.read()
