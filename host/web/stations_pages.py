"""Pages of the stations: the list, one station, and their live streams."""

from flask import (
    Blueprint,
    Response,
    abort,
    g,
    redirect,
    render_template,
    request,
)
from werkzeug.wrappers import Response as AnyResponse

from host.backup import reminder
from host.curve_to_find import FIND_OUT
from host.errors import DeskError
from host.people.role import ALL_ROLES, STAFF
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_start import SenderCheckWish, check_that_serves
from host.store.settings import RULES
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.first_start_pages import doors_page, is_untouched
from host.web.live_stream import all_stations_events, station_events, stream_of
from host.web.operator import operator_of
from host.web.photo_kept import with_photo
from host.web.rules import allowed
from host.web.start_form import WIRINGS, StartForm, curve_choices, empty_form, filled_form
from host.web.station_now import (
    StationNow,
    all_stations_now,
    all_thermometers_in_register,
    station_now,
    thermometers_in_register,
)
from host.web.trial_choices import trial_choices, trials_of

stations_pages = Blueprint("stations", __name__)


@stations_pages.get("/")
@allowed(*ALL_ROLES)
def index() -> str | AnyResponse:
    """Every station, trouble first; a student's first page is that of the exercises."""
    if not the_visitor().has_one_of(STAFF):
        return redirect("/exercise", 303)
    if is_untouched(the_desk().store):
        return doors_page()
    stations = all_stations_now(the_desk(), g.settings.zone)
    return render_template("stations.html", stations=stations, reminder=_reminder())


@stations_pages.get("/live")
@allowed(*STAFF)
def index_live() -> Response:
    """Live rows of every station."""
    desk = the_desk()
    return stream_of(
        all_stations_events(
            desk, scale=g.scale, thermometers=all_thermometers_in_register(desk), zone=g.settings.zone
        )
    )


@stations_pages.get("/stations/<station>")
@allowed(*STAFF)
def station_page(station: str) -> str:
    """One station: live strip, strip chart, values, and the form that starts a check."""
    now = _now(station)
    form = empty_form(the_desk().store, g.settings, g.scale, request.args, simulated=now.simulated)
    return _station_page(now, form)


@stations_pages.get("/stations/<station>/live")
@allowed(*STAFF)
def station_live(station: str) -> Response:
    """Live values, strip, chart points and card mark of one station."""
    desk = the_desk()
    _now(station)
    last_id = request.headers.get("Last-Event-ID", request.args.get("after", ""))
    return stream_of(
        station_events(
            desk,
            station,
            scale=g.scale,
            last_id=last_id,
            thermometers=thermometers_in_register(desk, station),
            zone=g.settings.zone,
        )
    )


@stations_pages.post("/stations/<station>/sender-check")
@allowed(*STAFF)
def start_sender_check(station: str) -> AnyResponse | tuple[str, int]:
    """Start a sender check, or say beside the field why not."""
    desk = the_desk()
    now = _now(station)
    form = with_photo(
        filled_form(request.form, desk.store.curves, thermometers_in_register(desk, station).probe)
    )
    if form.errors:
        return _station_page(now, form), 422
    try:
        run = desk.runs.start_check(
            SenderCheckWish(
                station=station,
                item=form.typed["item"],
                curve=form.typed["curve"],
                set_points_c=form.set_points_c,
                rule=form.rule.value,
                limit_k=form.limit_k,
                customer=form.typed["customer"],
                customer_contact=form.typed["customer_contact"],
                place=form.typed["place"],
                received=form.typed["received"],
                operator=operator_of(form.typed["operator"]),
                anew=bool(form.typed["anew"]),
                as_left_of=int(form.typed["as_left_of"]) if form.typed["as_left_of"] else None,
                done=form.typed["done"],
                job=form.typed["job"],
                wiring=form.typed["wiring"],
                connector_notes=form.typed["connector_notes"],
                trials=trials_of(form.typed["trials"]),
                course=Course(form.typed["course"]),
                move_connector=bool(form.typed["move_connector"]),
            )
        )
    except DeskError as error:
        return _station_page(_now(station), form.with_error(str(error))), 422
    if form.typed["photo_kept"]:
        desk.store.pictures.use_for_run(run, form.typed["photo_kept"], by=operator_of(form.typed["operator"]))
    return redirect(f"/runs/{run}", 303)


def _reminder() -> str | None:
    """Word about a backup, for those who can see to it."""
    store = the_desk().store
    return reminder(store, store.now())


def _station_page(now: StationNow, form: StartForm) -> str:
    desk = the_desk()
    return render_template(
        "station.html",
        now=now,
        form=form,
        curves=curve_choices(desk.store.curves),
        rules=RULES,
        find_out=FIND_OUT,
        wirings=WIRINGS,
        trials=trial_choices(),
        planted=desk.exercises.planted_at(now.station),
        ohms_check=check_that_serves(now.station, store=desk.store, live=desk.live),
    )


def _now(station: str) -> StationNow:
    desk = the_desk()
    live = desk.live.station(station)
    if live is None:
        abort(404, description=f"There is no station {station!r:.40} at this desk.")
    return station_now(desk, live, thermometers_in_register(desk, station), g.settings.zone)
