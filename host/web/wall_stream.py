"""Live rows of the wall: those that changed, and the order in which all stand."""

from collections.abc import Iterator, Mapping
from datetime import tzinfo
from typing import Any

from flask import render_template

from host.station_thermometers import StationThermometers
from host.web.desk_behind import DeskBehind
from host.web.live_stream import paced
from host.web.scale import Scale
from host.web.wall import summary_of, wall_rows
from host.web.wall_facts import WallMemory

#: Least wall time between two events: a wall is looked at, not followed.
WALL_EVERY_S = 1.0


def wall_events(
    desk: DeskBehind,
    memory: WallMemory,
    *,
    scale: Scale,
    thermometers: Mapping[str, StationThermometers],
    zone: tzinfo | None,
) -> Iterator[str]:
    """Events of the wall; the first has every row, the others what has changed since."""
    sent: dict[str, str] = {}

    def event() -> tuple[dict[str, Any], int]:
        rows = wall_rows(desk, memory.facts(), thermometers=thermometers, zone=zone)
        made = {row.station: render_template("_wall_row.html", row=row, scale=scale) for row in rows}
        fresh = {
            row.station: {"standing": row.standing.name.lower(), "html": made[row.station]}
            for row in rows
            if sent.get(row.station) != made[row.station]
        }
        sent.update(made)
        order = [row.station for row in rows]
        return {"wall": {"order": order, "rows": fresh, "summary": summary_of(rows)}}, 0

    return paced(desk, event, every_s=WALL_EVERY_S)
