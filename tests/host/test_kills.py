"""Rig, desk and broker killed at any point of a run: it completes, and every number is stored once.

Everything runs as in the shop: ``ohmbath serve`` with its own broker, and ``ohmbath-rig run`` beside it.
"""

import os
import re
import signal
import sqlite3
import subprocess
import sys
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from host.broker import free_port
from host.data_folder import DataFolder
from host.store import Store, open_store

STATION = "bench-1"
BIN = Path(sys.executable).parent

# Each is (kind of event, how many of it): the killing happens as soon as there are so many.
MOMENTS = (("box_read", 1), ("box_read", 10), ("ohms_checked", 1), ("settled", 1), ("window_closed", 2))

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]


class Shop:
    """A desk and a rig as processes of their own, around one folder."""

    def __init__(self, folder: Path, until: Callable[..., None]) -> None:
        self._folder, self._until = folder, until
        self._broker_port, self.page_port = free_port(), free_port()
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        self.desk_folder = DataFolder(folder / "desk")
        self.store: Store = open_store(self.desk_folder)
        self.store.stations.add(STATION)

    def start_desk(self) -> None:
        self._start(
            "desk",
            ["ohmbath", "serve", "--data", str(self.desk_folder.path), "--hands",
             "--port", str(self.page_port), "--broker-port", str(self._broker_port)],
        )  # fmt: skip

    def start_rig(self) -> None:
        self._start(
            "rig",
            ["ohmbath-rig", "run", "--simulate", "--station", STATION, "--seed", "7", "--speed", "max",
             "--broker", f"127.0.0.1:{self._broker_port}", "--data", str(self._folder / "rig")],
        )  # fmt: skip

    def register_papers(self) -> None:
        for name in ("probe.toml", "decade_box.toml"):
            path = self._folder / "rig" / "papers" / name
            self._until(path.exists, f"{name} is written")
            self.store.register.add_text(path.read_text("utf-8"))

    def start_run(self) -> None:
        self._until(lambda: self.store.latest_boot(STATION) is not None, "readings come in")
        form = {"item": "sender to be killed for", "curve": "ntc-310-80c", "set_points": "30 60 85"}
        page = f"http://127.0.0.1:{self.page_port}/stations/{STATION}"
        self._until(lambda: self._send_form(page, form), "the run is started")

    def events(self) -> list[str]:
        return [kind for kind, _ in self.store.runs.events(1)]

    def kill(self, who: str) -> None:
        if who == "broker":
            os.kill(self._broker_pid(), signal.SIGKILL)
            return
        process = self._processes[who]
        process.kill()
        process.wait()

    def end_rig(self) -> None:
        """Ask the rig to end and wait; the desk stays."""
        self._processes["rig"].terminate()
        assert self._processes["rig"].wait(20) == 0

    def last_numbers(self) -> dict[str, int]:
        """Largest number that the rig gave in each boot, as its own outbox has it."""
        with sqlite3.connect(self._folder / "rig" / "outbox.sqlite") as outbox:
            return dict(outbox.execute("select boot, last_seq from boot where last_seq > 0"))

    def stop(self) -> None:
        for process in self._processes.values():
            process.terminate()
        for process in self._processes.values():
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.store.close()

    def said(self) -> str:
        logs = sorted(self._folder.glob("*.log"))
        return "\n".join(f"--- {log.name}\n{log.read_text('utf-8', 'replace')[-3000:]}" for log in logs)

    def _start(self, who: str, command: list[str]) -> None:
        with (self._folder / f"{who}.log").open("ab") as log:
            self._processes[who] = subprocess.Popen(
                [str(BIN / command[0]), *command[1:]], stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )

    def _broker_pid(self) -> int:
        desk = self._processes["desk"].pid
        children = Path(f"/proc/{desk}/task/{desk}/children")
        found: list[int] = []

        def look() -> bool:
            every = Path(f"/proc/{desk}/task").glob("*/children")
            found[:] = [int(pid) for tasks in every for pid in tasks.read_text().split()]
            return bool(found)

        assert children.exists()
        self._until(look, "the desk has its broker")
        return found[0]

    @staticmethod
    def _send_form(page: str, form: dict[str, str]) -> bool:
        """Open the page as a browser does, with its cookie, and send its form with its key."""
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        try:
            with browser.open(page, timeout=5) as answer:
                key = re.search(r'name="form_key" value="([0-9a-f]+)"', answer.read().decode("utf-8"))
            assert key is not None
            data = urllib.parse.urlencode(form | {"form_key": key[1]}).encode()
            with browser.open(f"{page}/sender-check", data=data, timeout=5) as answer:
                return "/runs/1" in answer.url
        except OSError:
            return False


@pytest.fixture
def shop(tmp_path: Path, until: Callable[..., None]) -> Iterator[Shop]:
    shop = Shop(tmp_path, until)
    try:
        shop.start_desk()
        shop.start_rig()
        shop.register_papers()
        yield shop
    finally:
        shop.stop()


@pytest.mark.parametrize("who", ["rig", "desk", "broker"])
def test_a_run_survives_its_killing_and_stores_every_number_once(
    shop: Shop, until: Callable[..., None], who: str
) -> None:
    shop.start_run()
    for kind, count in MOMENTS:
        until(
            lambda kind=kind, count=count: shop.events().count(kind) >= count,
            f"the run comes to {kind} for the {count}. time",
            200,
        )
        shop.kill(who)
        if who == "rig":
            shop.start_rig()
        if who == "desk":
            shop.start_desk()
    until(lambda: "result" in shop.events() or "stopped" in shop.events(), "the run ends", 200)
    assert shop.events()[-1] == "result", shop.store.runs.events(1)[-1]
    assert len(shop.store.certificates.all()) == 1

    shop.end_rig()
    given = shop.last_numbers()
    assert len(given) == (1 + len(MOMENTS) if who == "rig" else 1)
    # What was on its way when the rig was ended waits in its outbox, and is the first thing it sends again.
    shop.start_rig()
    until(
        lambda: all(shop.store.watermark(STATION, boot) == last for boot, last in given.items()),
        "the desk has all that the rig gave numbers to",
        30,
    )
    for boot, last in given.items():
        stored = [pack.seq for pack in shop.store.readings(STATION, boot, 1, last)]
        assert stored == list(range(1, last + 1))
    assert shop.store.aside.all() == []
