"""A small desk, and somebody who asks for its pages."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from host.people.session import new_token
from host.web.app import create_app
from host.web.form_key import FIELD, key_of
from host.web.visit import COOKIE
from tests.host.web.small_bench import CURVE, PROBE_PAPER, SmallBench
from tests.host.web.small_desk import SmallDesk


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[SmallDesk]:
    """A desk without any station."""
    made = SmallDesk(tmp_path)
    yield made
    made.close()


@pytest.fixture(name="small_desk", scope="session")
def _small_desk() -> type[SmallDesk]:
    """What makes a desk on a folder, for who needs one of another kind."""
    return SmallDesk


@pytest.fixture
def bench(desk: SmallDesk) -> SmallBench:
    """A simulated bench at that desk that has just been heard."""
    made = desk.add_bench()
    made.say()
    made.read(40)
    return made


class PageReader(FlaskClient):
    """Somebody at a browser: what is posted comes from a form that a page has shown.

    ``from_a_page=False`` posts as another site would, without the page's hidden field.
    """

    def post(self, *args: Any, from_a_page: bool = True, **options: Any) -> Any:
        if from_a_page:
            data = options.get("data")
            if data is None or isinstance(data, dict):
                options["data"] = {FIELD: self._key()} | (data or {})
        return super().post(*args, **options)

    def _key(self) -> str:
        if self.get_cookie(COOKIE) is None:
            self.set_cookie(COOKIE, new_token(), httponly=True)
        cookie = self.get_cookie(COOKIE)
        assert cookie is not None
        return key_of(cookie.value)


@pytest.fixture(autouse=True)
def _clients_read_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every app made here is read by such a somebody."""
    monkeypatch.setattr(Flask, "test_client_class", PageReader)


@pytest.fixture
def browser(desk: SmallDesk) -> FlaskClient:
    """Somebody who asks for pages without a browser's window."""
    return create_app(desk).test_client()


@pytest.fixture
def browser_of() -> Callable[[SmallDesk], FlaskClient]:
    """Somebody who asks one of several desks."""
    return lambda desk: create_app(desk).test_client()


@pytest.fixture(scope="session")
def _finished_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Data of a desk on which one check came to its certificate, made once."""
    folder = tmp_path_factory.mktemp("finished")
    desk = SmallDesk(folder)
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    bench.series_ohm = 25.0
    run = desk.runs.start_sender_check(
        station="bench-1",
        item="Sender <7> & its lead",
        curve=CURVE,
        set_points_c=(30.0, 60.0, 85.0),
        customer="Mrs A. Fennimore",
    )
    desk.let_hands_finish(run, bench=bench)
    desk.close()
    return folder


@pytest.fixture
def finished_desk(tmp_path: Path, _finished_folder: Path) -> Iterator[SmallDesk]:
    """A desk on which run 1 came to its certificate."""
    folder = tmp_path / "finished"
    shutil.copytree(_finished_folder, folder)
    made = SmallDesk(folder)
    yield made
    made.close()


@pytest.fixture
def real_probe_paper() -> str:
    """Register file of a probe that exists."""
    return PROBE_PAPER.replace("simulated = true\n", "").replace('"P-1"', '"P-3"')


def events_of(text: str) -> list[dict[str, Any]]:
    """Data of the server-sent events in a piece of a stream."""
    return [
        json.loads(line.removeprefix("data: ")) for line in text.splitlines() if line.startswith("data: ")
    ]


@pytest.fixture(name="events_of")
def _events_of() -> Callable[[str], list[dict[str, Any]]]:
    return events_of
