"""What every test may use, and the rule that nothing is left out unseen."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from host.data_folder import DataFolder
from host.store import Store, open_store

# The same examples every time: what fails for one in a million inputs fails for its writer, not for whoever
# comes next. `HYPOTHESIS_PROFILE=search` looks for new ones.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

IN_CI = os.environ.get("CI") == "true"
_NEEDED = {"broker": "mosquitto", "browser": "chromium", "poppler": "pdftoppm"}
_DEADLINE_S = 20.0


def program(name: str) -> str | None:
    """Path of a program; Debian keeps daemons where an ordinary user's PATH does not look."""
    return shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what needs a wired Raspberry Pi, unless it is asked for by its mark."""
    if "metal" in config.option.markexpr:
        return
    metal = [item for item in items if item.get_closest_marker("metal")]
    if metal:
        config.hook.pytest_deselected(items=metal)
        items[:] = [item for item in items if item not in metal]


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave out a group of which the program is missing, in words."""
    for mark, name in _NEEDED.items():
        if item.get_closest_marker(mark) and program(name) is None:
            pytest.skip(f"tests marked {mark} need {name}: see tests/debian_packages.sh")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """With CI=true a skipped test has failed: nobody reads the list of what was left out."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"left out, which CI does not allow: {_reason(report)}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """With CI=true a whole file that skips itself has failed too."""
    report = yield
    if IN_CI and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"left out, which CI does not allow: {_reason(report)}"
    return report


def _reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    return report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which groups were left out."""
    for mark, name in _NEEDED.items():
        if program(name) is None:
            terminalreporter.write_line(f"Left out without {name}: the tests marked {mark}.")


@pytest.fixture
def until() -> Callable[..., None]:
    """Wait for a condition with a deadline; the words say what was waited for."""

    def wait(condition: Callable[[], object], words: str, deadline_s: float = _DEADLINE_S) -> None:
        end_s = time.monotonic() + deadline_s
        while not condition():
            if time.monotonic() > end_s:
                pytest.fail(f"after {deadline_s:g} s still not: {words}")
            time.sleep(0.005)

    return wait


def free_port() -> int:
    """Return a loopback port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mosquitto:
    """A real broker on a loopback port of its own, which can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it; it takes connections when this returns."""
        path = program("mosquitto")
        assert path is not None
        settings = self._folder / "mosquitto.conf"
        settings.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
            "log_dest none\nuser root\nset_tcp_nodelay true\n",
            encoding="utf-8",
        )
        self._process = subprocess.Popen(
            [path, "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        end_s = time.monotonic() + _DEADLINE_S
        while not self._answers():
            assert self._process.poll() is None, "mosquitto ended at once"
            assert time.monotonic() < end_s, "mosquitto does not answer"
            time.sleep(0.01)

    def kill(self) -> None:
        """End it without a farewell."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    def stop(self) -> None:
        """End it."""
        self.kill()

    def _answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """Return a mosquitto at work; tests that use it are marked ``broker``."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    yield broker
    broker.stop()


BOOT = "00000001-0a0b0c0d"


@pytest.fixture(scope="session")
def make_pack() -> Callable[..., ReadingPack]:
    """Builder of an invented sampling pass; keyword arguments change its fields."""

    def make(station: str = "bench-1", seq: int = 1, **changes: Any) -> ReadingPack:
        channels = {
            "sender": ChannelReading(quality=Quality.GOOD, raw=2048.5, value=2500.0 + seq),
            "witness": ChannelReading(quality=Quality.CHECKSUM, raw=320.0, reason="the checksum is wrong"),
        }
        usual: dict[str, Any] = {
            "station": station,
            "rig": "rig-a",
            "boot": BOOT,
            "seq": seq,
            "rig_time_s": seq / 4,
            "simulated": True,
            "decade_ohm": 0.0,
            "insertion": Insertion.NONE,
            "range_ohm": 2490.0,
            "channels": channels,
        }
        return ReadingPack(**{**usual, **changes})

    return make


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Return an empty store with the station bench-1."""
    opened = open_store(DataFolder(tmp_path / "desk"))
    opened.stations.add("bench-1")
    yield opened
    opened.close()
