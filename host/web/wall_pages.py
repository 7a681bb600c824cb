"""The classroom wall: every station at a glance, for whoever runs the room."""

from flask import Blueprint, Flask, Response, current_app, g, render_template

from host.people.role import STAFF
from host.web.desk_behind import the_desk
from host.web.live_stream import stream_of
from host.web.rules import allowed
from host.web.station_now import all_thermometers_in_register
from host.web.wall import summary_of, wall_rows
from host.web.wall_facts import WallMemory
from host.web.wall_stream import wall_events

wall_pages = Blueprint("wall", __name__)

_KEY = "ohmbath.wall"


def put_wall(app: Flask, memory: WallMemory) -> None:
    """Give an app what all its walls share."""
    app.extensions[_KEY] = memory


def _memory() -> WallMemory:
    found: WallMemory = current_app.extensions[_KEY]
    return found


@wall_pages.get("/wall")
@allowed(*STAFF)
def wall() -> str:
    """Every station, trouble first. Not for students: it shows what others do and what came of it."""
    desk = the_desk()
    rows = wall_rows(
        desk, _memory().facts(), thermometers=all_thermometers_in_register(desk), zone=g.settings.zone
    )
    return render_template(
        "wall.html",
        rows=rows,
        summary=summary_of(rows),
        of_desk=[words for words in (desk.live.trouble, desk.live.notice) if words],
    )


@wall_pages.get("/wall/live")
@allowed(*STAFF)
def wall_live() -> Response:
    """Rows that changed, their order and the summary."""
    desk = the_desk()
    return stream_of(
        wall_events(
            desk,
            _memory(),
            scale=g.scale,
            thermometers=all_thermometers_in_register(desk),
            zone=g.settings.zone,
        )
    )
