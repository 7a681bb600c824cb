"""What every test may use, and the rule that nothing is left out unseen."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa
from hypothesis import settings

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from host.data_folder import DataFolder
from host.seal import key_ring
from host.store import Store, open_store
from host.store import store as store_module
from host.store.kept_settings import KeptSettings

# The same examples every time: what fails for one in a million inputs fails for its writer, not for whoever
# comes next. `HYPOTHESIS_PROFILE=search` looks for new ones.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

# Making a key takes most of a second: within a process every shop of the tests has the same few. Programs
# that tests start make their own.
_KEYS: list[rsa.RSAPrivateKey] = []
_FEW_KEYS = 3


@pytest.fixture(scope="session", autouse=True)
def _every_shop_has_a_name() -> Iterator[None]:
    """A desk issues nothing for a shop without a name; each new one gets one, as its owner would give it."""
    take_over = store_module._take_over_shop_file

    def take_over_or_name(settings: KeptSettings, folder: DataFolder) -> None:
        take_over(settings, folder)
        if "shop_name" not in settings.texts():
            settings.change({"shop_name": "Plover & Tansy Motor Works"})

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store_module, "_take_over_shop_file", take_over_or_name)
        yield


@pytest.fixture(autouse=True)
def _keys_of_a_few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hand out the same few keys in turn."""
    make, taken = key_ring.new_private_key, iter(range(10**6))

    def next_key() -> rsa.RSAPrivateKey:
        at = next(taken) % _FEW_KEYS
        while len(_KEYS) <= at:
            _KEYS.append(make())
        return _KEYS[at]

    monkeypatch.setattr(key_ring, "new_private_key", next_key)


IN_CI = os.environ.get("CI") == "true"
_NEEDED = {"broker": "mosquitto", "browser": "chromium", "poppler": "pdftoppm", "postgresql": "initdb"}
_DEADLINE_S = 20.0


def program(name: str) -> str | None:
    """Path of a program; Debian keeps daemons where an ordinary user's PATH does not look."""
    debian = ("/usr/sbin", "/usr/local/sbin", *map(str, sorted(Path("/usr/lib/postgresql").glob("*/bin"))))
    return shutil.which(name) or shutil.which(name, path=":".join(debian))


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


class PostgreSQL:
    """A server of its own in a folder of its own, reached by a socket there and by nobody else."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="ohmbath-pg-", dir="/tmp"))
        # The server refuses root: where the tests run as root, it runs as Debian's user for it.
        self._as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._as_user:
            shutil.chown(self._folder, "postgres", "postgres")
        self._count = 0
        self._data = self._folder / "data"
        data = str(self._data)
        self._run("initdb", "-D", data, "-U", "desk", "-A", "trust", "-E", "UTF8", "-N", "--locale=C.UTF-8")
        options = f"-c listen_addresses='' -c fsync=off -k {self._folder}"
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", data, "-w", "-o", options, "-l", log, "start")

    def new_url(self) -> str:
        """URL of a fresh empty database."""
        self._count += 1
        name = f"shop{self._count}"
        self._run("createdb", "-h", str(self._folder), "-U", "desk", name)
        return f"postgresql://desk@/{name}?host={self._folder}"

    def stop(self) -> None:
        """End it and take its folder away."""
        self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(self._folder)

    def _run(self, name: str, *arguments: str) -> None:
        path = program(name)
        assert path is not None, f"{name} is missing"
        done = subprocess.run(
            [*self._as_user, path, *arguments],
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,  # pg_ctl hands it on to the server, which would hold a pipe open
            stderr=subprocess.DEVNULL,
        )
        assert done.returncode == 0, f"{name} {' '.join(arguments)} ended with {done.returncode}"


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgreSQL]:
    """Return a PostgreSQL server at work; tests that use it are marked ``postgresql``."""
    server = PostgreSQL()
    yield server
    server.stop()


_STORES = ["file", pytest.param("server", marks=[pytest.mark.slow, pytest.mark.postgresql])]


@pytest.fixture(params=_STORES)
def store_folder(request: pytest.FixtureRequest, tmp_path: Path) -> DataFolder:
    """Return a fresh data folder whose store is a file, and once more one whose store is on a server."""
    folder = DataFolder(tmp_path / "desk")
    if request.param == "server":
        server: PostgreSQL = request.getfixturevalue("postgresql")
        (folder.path / "store.url").write_text(server.new_url(), "utf-8")
    return folder


@pytest.fixture
def store(store_folder: DataFolder) -> Iterator[Store]:
    """Return an empty store with the station bench-1, in a file and on a server."""
    opened = open_store(store_folder)
    opened.stations.add("bench-1")
    yield opened
    opened.close()
