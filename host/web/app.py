"""The pages of the desk, as one Flask app."""

from collections.abc import Mapping
from importlib.metadata import version

from flask import Flask, Response, g, render_template, request
from werkzeug.exceptions import HTTPException

from calibration.rounding import decimals_of, rounded_text
from host.certificates.paper_lines import conditions_left, simulated_line, stated_u
from host.certificates.results.by_kind import results_of
from host.errors import DeskError
from host.local_time import local_time
from host.people.account import roles_text
from host.people.password import Passwords
from host.pictures.verdict_shape import SHAPES
from host.store.settings import Settings
from host.web.audit_pages import audit_pages
from host.web.certificates_pages import certificates_pages
from host.web.channel_pages import channel_pages
from host.web.curves_pages import curves_pages
from host.web.deeds import write_down_deeds
from host.web.desk_behind import DeskBehind, put_desk, the_desk
from host.web.door import Door, put_door, the_visitor
from host.web.drafts_pages import drafts_pages
from host.web.exercises_pages import exercises_pages
from host.web.export_pages import export_pages
from host.web.first_start_pages import first_start_pages
from host.web.form_key import form_key
from host.web.help_pages import help_pages
from host.web.help_texts import topic_of
from host.web.in_place_pages import in_place_pages
from host.web.infrared_pages import infrared_pages
from host.web.label_pages import label_pages
from host.web.live_stream import Streams, put_streams
from host.web.meter_check_pages import meter_check_pages
from host.web.navigation import FOOT, HEAD, may_open, ways_for
from host.web.number_in_address import NumberInAddress
from host.web.people_pages import people_pages
from host.web.pictures_pages import pictures_pages
from host.web.probe_check_pages import probe_check_pages
from host.web.reach import Reach
from host.web.register_pages import register_pages
from host.web.roster_pages import roster_pages
from host.web.rounds_pages import rounds_pages
from host.web.runs_pages import runs_pages
from host.web.scale import (
    Scale,
    chosen_scale,
    degrees,
    in_both_scales,
    in_scale,
    plain_degrees,
    remember_scale,
    sentence,
)
from host.web.settings_pages import settings_pages
from host.web.shop_named import ask_for_the_shop, naming_way
from host.web.sign_in_pages import sign_in_pages
from host.web.stations_pages import stations_pages
from host.web.strips import live_strip
from host.web.student_pages import student_pages
from host.web.typed_pages import typed_pages
from host.web.upload_room import give_room
from host.web.verify_pages import verify_pages
from host.web.visit import remember_visit
from host.web.wall_facts import WallMemory
from host.web.wall_pages import put_wall, wall_pages
from host.web.witness_check_pages import witness_check_pages

#: Live pages at once; the server has three threads for each (see `host.web.server`).
MOST_STREAMS = 32
#: Largest form that anybody types.
_LONGEST_FORM = 64 * 1024

# Nothing comes from outside the server, nothing runs or is styled inline, nobody frames these pages.
_CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

_NEXT_STEPS: Mapping[int, str] = {
    403: "Open the desk's own page and try there.",
    404: "Go back to the stations and take the way from there.",
    405: "This address only takes the press of a button. Go back to the stations.",
    413: "Write less and send it again.",
    500: "It is written to the log of the desk. Go back and try once more; open runs go on meanwhile.",
}


_PAGES = (
    stations_pages,
    wall_pages,
    runs_pages,
    student_pages,
    exercises_pages,
    roster_pages,
    typed_pages,
    in_place_pages,
    infrared_pages,
    probe_check_pages,
    meter_check_pages,
    witness_check_pages,
    rounds_pages,
    certificates_pages,
    verify_pages,
    channel_pages,
    label_pages,
    drafts_pages,
    export_pages,
    settings_pages,
    register_pages,
    curves_pages,
    sign_in_pages,
    people_pages,
    audit_pages,
    first_start_pages,
    pictures_pages,
    help_pages,
)


def create_app(
    desk: DeskBehind,
    *,
    reach: Reach | None = None,
    passwords: Passwords | None = None,
    takes_all_for: str = "",
) -> Flask:
    """App whose pages show ``desk`` and press its buttons.

    Parameters
    ----------
    desk : DeskBehind
        Started and stopped by whoever made it.
    reach : Reach, optional
        From where the pages can be reached; by default from this machine only.
    passwords : Passwords, optional
        How passwords are hashed.
    takes_all_for : str
        Name of the person for whom a demo takes everybody who has not signed in.
    """
    app = Flask(__name__)
    app.url_map.converters["int"] = NumberInAddress
    app.config["MAX_CONTENT_LENGTH"] = _LONGEST_FORM
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    put_desk(app, desk)
    put_streams(app, Streams(MOST_STREAMS))
    put_wall(app, WallMemory(desk.store))
    for pages in _PAGES:
        app.register_blueprint(pages)
    _give_words(app)
    app.before_request(lambda: give_room(request))
    app.before_request(_read_settings)
    put_door(app, Door(desk, reach or Reach(), passwords or Passwords(), takes_all_for=takes_all_for))
    ask_for_the_shop(app)
    write_down_deeds(app)
    app.after_request(_dress)
    app.register_error_handler(DeskError, _desk_error)
    app.register_error_handler(HTTPException, _http_error)
    return app


def _give_words(app: Flask) -> None:
    app.jinja_env.filters |= {
        "simulated_line": simulated_line,
        "degrees": degrees,
        "plain_degrees": plain_degrees,
        "in_scale": in_scale,
        "in_both_scales": in_both_scales,
        "sentence": sentence,
        "roles_text": roles_text,
        "ohms": _ohms,
        "stated_u": stated_u,
        "conditions_left": lambda paper: conditions_left(paper, results_of(paper)),
        "to_its_u": _to_its_u,
        "strip": live_strip,
        "local_time": lambda utc_s: local_time(utc_s, g.settings.zone),
        "run": lambda number: f"{number:04d}",
    }
    app.jinja_env.globals |= {
        "shapes": SHAPES,
        "program_version": version("ohmbath"),
        "form_key": form_key,
    }

    @app.context_processor
    def _every_page() -> dict[str, object]:
        settings = getattr(g, "settings", Settings())
        visitor = the_visitor()
        return {
            "scale": getattr(g, "scale", Scale(settings.scale)),
            "settings": settings,
            "help_topic": topic_of(request.endpoint),
            "visitor": visitor,
            "naming_way": "" if settings.shop_name else naming_way,
            "head_ways": ways_for(app, HEAD, visitor),
            "foot_ways": ways_for(app, FOOT, visitor),
            "may_open": lambda address: may_open(app, address, visitor),
        }


def _ohms(resistance_ohm: float, u_resistance_ohm: float) -> str:
    places = max(decimals_of(u_resistance_ohm), 0) if u_resistance_ohm > 0.0 else 0
    return f"{float(rounded_text(resistance_ohm, places)):,.{places}f}"


def _to_its_u(value: float, expanded_u: float) -> str:
    """Value, or U itself, in the digits that U has."""
    return rounded_text(value, decimals_of(expanded_u)).replace("-", "−")


def _read_settings() -> None:
    g.settings = the_desk().store.settings.read()
    g.scale = chosen_scale(Scale(g.settings.scale))


def _dress(response: Response) -> Response:
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    if response.mimetype != "application/pdf":  # a browser's own reader of papers brings its own styles
        response.headers["Content-Security-Policy"] = _CONTENT_POLICY
    if response.mimetype == "text/html":
        response.headers.setdefault("Cache-Control", "no-store")
        remember_scale(response)
    remember_visit(response)
    return response


def _desk_error(error: DeskError) -> tuple[str, int]:
    return render_template("error.html", words=str(error), next_step=""), 409


def _http_error(error: HTTPException) -> tuple[str, int]:
    code = error.code or 500
    words = {
        404: "There is no such page here.",
        500: "A fault of the program.",
    }.get(code, error.description or error.name)
    if code == 404 and error.description and "URL" not in error.description:
        words = error.description
    return render_template("error.html", words=words, next_step=_NEXT_STEPS.get(code, _NEXT_STEPS[404])), code
