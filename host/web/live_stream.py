"""Server-sent events: what a station says, as it says it, at a rate a phone can take.

A stream holds a thread of the server and no database connection. It ends by itself after about a
minute and the browser takes it up again where it was, so that a forgotten page costs nothing for long.
"""

import json
import secrets
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from datetime import tzinfo
from typing import Any

from flask import Flask, Response, current_app, render_template, stream_with_context

from calibration.contract.readings import ReadingPack
from host.station_thermometers import StationThermometers
from host.web.desk_behind import DeskBehind
from host.web.scale import Scale
from host.web.station_now import chart_point, curve_of_open_run, station_now

STREAM_LIFE_S = 60.0
#: Least wall time between two events: a simulated rig may send hundreds of readings a second.
EVENT_EVERY_S = 0.2
ALL_STATIONS_EVERY_S = 0.5
#: How long a stream says nothing at most; this also finds out that nobody listens any more.
QUIET_S = 1.0
#: How soon a quiet stream notices that the desk is closing.
_LOOK_UP_S = 0.25
#: Rig time between two points of the strip chart. [s]
CHART_STEP_S = 1.0
CHART_SPAN_S = 600.0

# Cursors count from the start of a desk: one that was given by an earlier process means nothing.
_PROCESS = secrets.token_hex(4)
_KEY = "ohmbath.streams"
_NO_ROOM = "Too many live pages are open. Close one; this page tries again by itself.\n"


class Streams:
    """Streams that are open, and the end of them all.

    Parameters
    ----------
    most : int
        How many there may be; the other threads of the server are for pages.
    """

    def __init__(self, most: int) -> None:
        self.closing = threading.Event()
        self._room = threading.BoundedSemaphore(most)

    def held(self, events: Iterator[str]) -> Iterator[str] | None:
        """Hold one place as long as ``events`` is read; None where no place is left."""
        return self._until_read(events) if self._room.acquire(blocking=False) else None

    def _until_read(self, events: Iterator[str]) -> Iterator[str]:
        try:
            yield from events
        finally:
            self._room.release()


def put_streams(app: Flask, streams: Streams) -> None:
    """Give an app its streams."""
    app.extensions[_KEY] = streams


def streams_of(app: Flask) -> Streams:
    """Streams of an app."""
    found: Streams = app.extensions[_KEY]
    return found


def station_events(
    desk: DeskBehind,
    station: str,
    *,
    scale: Scale,
    last_id: str,
    thermometers: StationThermometers,
    zone: tzinfo | None,
) -> Iterator[str]:
    """Events of one station: its values and strip, new points of the chart, the mark of its step card."""

    def points_of(packs: list[ReadingPack]) -> list[list[float | None]]:
        curve = curve_of_open_run(desk, station)
        return [chart_point(pack, thermometers, curve) for pack in packs]

    chart = ChartFeed(desk, station, points_of, last_id=last_id)

    def event() -> tuple[dict[str, Any], int] | None:
        live = desk.live.station(station)
        if live is None:
            return None
        now = station_now(desk, live, thermometers, zone)
        data = chart.fresh() | {
            "live": render_template("_live.html", now=now, scale=scale),
            "run": now.run,
            "card": now.card_mark,
        }
        return data, chart.cursor

    return paced(desk, event, every_s=EVENT_EVERY_S)


def all_stations_events(
    desk: DeskBehind,
    *,
    scale: Scale,
    thermometers: Mapping[str, StationThermometers],
    zone: tzinfo | None,
) -> Iterator[str]:
    """Events of the list of stations: the row of each."""

    def event() -> tuple[dict[str, Any], int]:
        stations = [
            station_now(desk, live, thermometers.get(live.station), zone) for live in desk.live.stations()
        ]
        rows = {
            now.station: {"run": now.run, "html": render_template("_station_row.html", now=now, scale=scale)}
            for now in stations
        }
        return {"rows": rows}, 0

    return paced(desk, event, every_s=ALL_STATIONS_EVERY_S)


def stream_of(events: Iterator[str]) -> Response:
    """Answer that streams events, or a word that there is no room for another."""
    held = streams_of(current_app).held(events)
    if held is None:
        return Response(_NO_ROOM, 503, {"Retry-After": "5"}, mimetype="text/plain")
    return Response(
        stream_with_context(held), mimetype="text/event-stream", headers={"Cache-Control": "no-store"}
    )


def paced(
    desk: DeskBehind, event: Callable[[], tuple[dict[str, Any], int] | None], *, every_s: float
) -> Iterator[str]:
    """Events as they come about, at most one in ``every_s``, until the stream has lived long enough.

    Parameters
    ----------
    desk : DeskBehind
    event : callable
        Gives the data and cursor of the next event; None ends the stream.
    every_s : float
        Least wall time between two. [s]
    """
    closing = streams_of(current_app).closing
    end_s = time.monotonic() + STREAM_LIFE_S
    cursor = desk.live.wait(-1, 0.0)
    yield "retry: 1000\n\n"
    while not closing.is_set() and time.monotonic() < end_s:
        made = event()
        if made is None:
            return
        data, last = made
        text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        yield f"id: {_PROCESS}-{last}\ndata: {text}\n\n"
        if closing.wait(every_s):
            return
        cursor = _next_change(desk, cursor, closing)


def _next_change(desk: DeskBehind, cursor: int, closing: threading.Event) -> int:
    """Wait for news, at most so long: a silent station still has its silence to say."""
    until_s = time.monotonic() + QUIET_S
    while not closing.is_set() and time.monotonic() < until_s:
        newer = desk.live.wait(cursor, _LOOK_UP_S)
        if newer != cursor:
            return newer
    return cursor


def cursor_of(last_id: str) -> int | None:
    """Cursor of the event that a page saw last; None where it saw none of this desk's time."""
    process, _, cursor = last_id.partition("-")
    return int(cursor) if process == _PROCESS and cursor.isdigit() else None


class ChartFeed:
    """New points of one station's strip chart, thinned.

    Parameters
    ----------
    desk : DeskBehind
    station : str
    points_of : callable
        Points of the readings that are due.
    last_id : str
        Of the event that the page saw last.
    """

    def __init__(
        self,
        desk: DeskBehind,
        station: str,
        points_of: Callable[[list[ReadingPack]], list[list[float | None]]],
        *,
        last_id: str,
    ) -> None:
        resumed = cursor_of(last_id)
        self._desk, self._station, self._points_of = desk, station, points_of
        self._anew = resumed is None
        self._last: tuple[str, float] | None = None
        self.cursor = resumed or 0

    def fresh(self) -> dict[str, Any]:
        """What came in since the last call; ``anew`` where the page is to forget what it had."""
        packs, self.cursor = self._desk.live.since(self._station, self.cursor)
        newest = self._desk.live.latest(self._station)
        if newest is None:
            return {"boot": None, "anew": self._anew, "points": []}
        in_order = sorted(packs, key=lambda pack: (pack.boot, pack.seq))
        due = [
            pack
            for pack in in_order
            if pack.boot == newest.boot and pack.rig_time_s > newest.rig_time_s - CHART_SPAN_S
            if self._is_due(pack)
        ]
        anew, self._anew = self._anew, False
        return {"boot": newest.boot, "anew": anew, "points": self._points_of(due)}

    def _is_due(self, pack: ReadingPack) -> bool:
        if self._last is not None and self._last[0] == pack.boot:
            if pack.rig_time_s < self._last[1] + CHART_STEP_S:
                return False
        self._last = (pack.boot, pack.rig_time_s)
        return True
