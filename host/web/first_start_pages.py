"""The three ways to begin: on the simulated bench, by hand, with a Pi."""

from flask import Blueprint, current_app, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.role import STAFF
from host.simulated_bench import STATION, BenchState
from host.simulated_room import USUAL_STATIONS
from host.store import Store
from host.store.stations import StationNameError
from host.web.desk_behind import the_desk
from host.web.rules import allowed

first_start_pages = Blueprint("first_start", __name__)

_TYPED_CHECK = "/typed"


def is_untouched(store: Store) -> bool:
    """Tell whether nobody has begun anything at this desk."""
    return not store.stations.all() and not store.runs.all()


def doors_page(*, name: str = "", name_error: str = "", bench_error: str = "") -> str:
    """The three doors, each with what stands behind it now."""
    desk = the_desk()
    bench, room = desk.simulated_bench, desk.simulated_room
    in_room = [] if room is None else [(one.station, one.state, one.log) for one in room.benches]
    simulated = {STATION, *(station for station, *_ in in_room)}
    stations = [live for live in desk.live.stations() if live.station not in simulated]
    return render_template(
        "first_start.html",
        station=STATION,
        bench=BenchState.OFF if bench is None else bench.state,
        bench_log="" if bench is None else bench.log,
        bench_refusal=_NO_BENCH if bench is None else bench.refusal(),
        bench_error=bench_error,
        room=in_room,
        is_starting=any(state is BenchState.STARTING for _, state, _ in in_room),
        room_size=USUAL_STATIONS,
        typed_check=_TYPED_CHECK if _has_page(_TYPED_CHECK) else None,
        stations=stations,
        name=name,
        name_error=name_error,
    )


@first_start_pages.get("/begin")
@allowed(*STAFF)
def index() -> str:
    """The three doors, also when work has begun."""
    return doors_page()


@first_start_pages.post("/begin/simulated")
@allowed(*STAFF)
def simulated() -> AnyResponse | tuple[str, int]:
    """Start the simulated bench; starting it again changes nothing."""
    bench = the_desk().simulated_bench
    try:
        if bench is None:
            raise DeskError(_NO_BENCH)
        bench.start()
    except DeskError as error:
        return doors_page(bench_error=str(error)), 409
    return redirect("/begin#simulated", 303)


@first_start_pages.post("/begin/simulated/stop")
@allowed(*STAFF)
def stop_simulated() -> AnyResponse:
    """End the simulated bench; what it read is kept."""
    bench = the_desk().simulated_bench
    if bench is not None:
        bench.switch_off()
    return redirect("/begin#simulated", 303)


@first_start_pages.post("/begin/room")
@allowed(*STAFF)
def room() -> AnyResponse | tuple[str, int]:
    """Start the simulated room, or one station of it that has died; starting it again changes nothing."""
    stations = the_desk().simulated_room
    again = request.form.get("station", "")
    try:
        if stations is None:
            raise DeskError(_NO_BENCH)
        if again:
            stations.start_again(again)
        else:
            stations.start()
    except DeskError as error:
        return doors_page(bench_error=str(error)), 409
    return redirect("/begin#simulated", 303)


@first_start_pages.post("/begin/room/stop")
@allowed(*STAFF)
def stop_room() -> AnyResponse:
    """End the simulated room; what its stations read is kept."""
    stations = the_desk().simulated_room
    if stations is not None:
        stations.switch_off()
    return redirect("/begin#simulated", 303)


@first_start_pages.post("/begin/station")
@allowed(*STAFF)
def add_station() -> AnyResponse | tuple[str, int]:
    """Add a station by name, or say beside the field why not."""
    name = request.form.get("name", "").strip()
    desk = the_desk()
    try:
        desk.store.stations.add(name)
    except StationNameError as error:
        return doors_page(name=name, name_error=str(error)), 422
    desk.live.add_station(name)
    return redirect("/begin#pi", 303)


_NO_BENCH = "This desk cannot start a simulated bench. Try it in a folder of its own: ohmbath demo"


def _has_page(address: str) -> bool:
    return any(rule.rule == address for rule in current_app.url_map.iter_rules())
