"""A served desk, and windows of three sizes at it."""

from collections.abc import Iterator

import pytest

from host.procedures.sender.sender_check_start import SenderCheckWish
from host.web.app import create_app
from host.web.server import PageServer


def start(desk) -> int:
    """Start a check on bench-1."""
    wish = SenderCheckWish(
        station="bench-1",
        item="Sender, tag 8",
        curve="ntc-310-80c",
        set_points_c=(30.0, 60.0, 85.0),
        anew=True,
        set_up=(),
    )
    return desk.runs.start_check(wish)


@pytest.fixture
def served(finished_desk) -> Iterator[PageServer]:
    """A desk with a result (run 1), a stopped run (2) and an open one (3), served on loopback."""
    bench = finished_desk.benches["bench-1"]
    bench.boot = "00000002-0000abcd"
    bench.say(boot=bench.boot)
    bench.read(400)
    finished_desk.runs.stop_run(start(finished_desk), "The jug leaks.")
    start(finished_desk)
    server = PageServer(create_app(finished_desk), port=0)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def visit(served: PageServer, devices):
    """Opens a window at that desk."""

    def begin(size: str = "phone", **options):
        return devices(served.url, size, **options)

    return begin
