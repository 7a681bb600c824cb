"""Pages of the runs: the list, the step card of an open run, the result of one that is over."""

from typing import TYPE_CHECKING

from flask import Blueprint, Response, abort, g, make_response, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.bench_setup import decade_box_of
from host.procedures.ohms.channel_checks import has_own_check
from host.procedures.ohms.passed_ohms_checks import made_check_of
from host.procedures.run_kind import RunKind
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_start import wish_again
from host.procedures.sender.sender_check_state import Phase
from host.web.course_view import CourseView, course_view_of
from host.web.curve_choice_form import CurveChoiceForm, empty_choice, sent_choice
from host.web.desk_behind import the_desk
from host.web.ohms_check_view import ohms_check_view
from host.web.paper_of_run import paper_of_run
from host.web.reason_typed import why_stopped
from host.web.result_view import result_view_of
from host.web.rules import allowed
from host.web.run_list import run_rows
from host.web.station_now import card_mark, station_now, thermometers_in_register

if TYPE_CHECKING:
    from host.procedures.runs_at_work import RunView

runs_pages = Blueprint("runs", __name__)

_PAGES_OF_OTHER_KINDS = {
    RunKind.IN_PLACE: "/on-the-vehicle",
    RunKind.HAND_CHECK: "/typed",
    RunKind.INFRARED_CHECK: "/infrared",
    RunKind.PROBE_CHECK: "/probe-check",
    RunKind.METER_CHECK: "/meter-check",
    RunKind.WITNESS_CHECK: "/witness-check",
    RunKind.CHANNEL_CHECK: "/channels",
    RunKind.STATION_ROUND: "/rounds",
    RunKind.EXERCISE: "/exercises",
}


@runs_pages.get("/runs")
@allowed(*STAFF)
def index() -> str:
    """Every run, the newest first."""
    return render_template("runs.html", rows=run_rows(the_desk().store, g.settings.zone))


@runs_pages.get("/runs/<int:run>")
@allowed(*STAFF)
def run_page(run: int) -> str | AnyResponse:
    """The one next step while a run is open; what came of it afterwards."""
    desk = the_desk()
    elsewhere = _PAGES_OF_OTHER_KINDS.get(desk.store.runs.kind_of(run) or "")
    if elsewhere is not None:
        return redirect(f"{elsewhere}/{run}")
    view = _view(run)
    if view.is_ohms_check:
        return _ohms_check_page(view)
    if view.state.phase is Phase.DONE and view.exercise is not None:
        return render_template("exercise_run.html", view=view)
    paper = paper_of_run(desk.store, run)
    if paper is not None and view.state.is_over:
        started = view.state.started
        result = result_view_of(
            paper.files, g.scale, curve=started.reference_curve, box=decade_box_of(started.decade_box)
        )
        return render_template(
            "result.html",
            view=view,
            paper_of_run=paper,
            result=result,
            as_left=_as_left_of(run),
            course=_course(view),
            photo=desk.store.pictures.of_run(run),
            has_own_check=has_own_check(desk.store, run),
        )
    if view.state.phase is Phase.CHOOSING:
        found = desk.runs.curves_found(run)
        return _choice_page(view, empty_choice(found, view.state.started.limit_k))
    live = desk.live.station(view.station)
    thermometers = thermometers_in_register(desk, view.station)
    now = None if live is None else station_now(desk, live, thermometers, g.settings.zone)
    template = "stopped.html" if view.state.is_over else "run.html"
    return render_template(
        template,
        view=view,
        now=now,
        **_card_of(view),
        course=None if view.state.is_over else _course(view),
        photo=desk.store.pictures.of_run(run),
    )


@runs_pages.get("/runs/<int:run>/course")
@allowed(*STAFF)
def course(run: int) -> Response:
    """The way of the sender so far, for a page that is already open."""
    view = _view(run)
    if view.is_ohms_check:
        abort(404, description=f"Run {run:04d} is an ohms check: nothing is heated in it.")
    response = make_response(render_template("_course.html", course=_course(view)))
    response.headers["Cache-Control"] = "no-store"
    return response


@runs_pages.get("/runs/<int:run>/card")
@allowed(*STAFF)
def card(run: int) -> Response:
    """The step card alone, for a page that is already open."""
    view = _view(run)
    response = make_response(render_template("_card.html", **_card_of(view)))
    response.headers["Cache-Control"] = "no-store"
    return response


@runs_pages.post("/runs/<int:run>/press")
@allowed(*STAFF)
def press(run: int) -> AnyResponse:
    """The one button. A press that comes twice, or late, changes nothing."""
    view = _view(run)
    is_this_step = request.form.get("step") in (None, str(view.card.step))
    if not view.state.is_over and view.card.button is not None and is_this_step:
        the_desk().runs.press(run, other=request.form.get("answer") == "other")
    return redirect(f"/runs/{run}", 303)


@runs_pages.post("/runs/<int:run>/curve")
@allowed(*STAFF)
def curve(run: int) -> AnyResponse | tuple[str, int]:
    """Judge the readings of a run against the curve that was pressed, or say beside the field why not."""
    desk, view = the_desk(), _view(run)
    if view.state.phase is Phase.CHOOSING:
        form = sent_choice(request.form, desk.runs.curves_found(run), desk.store)
        if form.choice is None:
            return _choice_page(view, form), 422
        desk.runs.choose_curve(run, form.choice)
    return redirect(f"/runs/{run}", 303)


@runs_pages.post("/runs/<int:run>/hands")
@allowed(*STAFF)
def hands(run: int) -> AnyResponse:
    """Let the simulated hands do what the card asks for."""
    helper = the_desk().hands
    if helper is None:
        raise DeskError("There are no simulated hands at this desk: its benches need real ones.")
    if not _view(run).state.is_over:
        helper.do(run)
    return redirect(f"/runs/{run}", 303)


@runs_pages.post("/runs/<int:run>/stop")
@allowed(*STAFF)
def stop(run: int) -> AnyResponse:
    """Stop a run for good; stopping it again changes nothing."""
    if not _view(run).state.is_over:
        the_desk().runs.stop_run(run, why_stopped())
    return redirect(f"/runs/{run}", 303)


@runs_pages.post("/runs/<int:run>/plateaus")
@allowed(*STAFF)
def plateaus(run: int) -> AnyResponse:
    """Start the check of a loop that came to nothing once more, on plateaus."""
    view = _view(run)
    started = view.state.started
    if view.is_ohms_check or view.state.phase is not Phase.STOPPED or started.course is not Course.LOOP:
        raise DeskError(
            f"Run {run:04d} is no loop that came to nothing. Start a check from the station’s page."
        )
    wish = wish_again(started, course=Course.PLATEAUS)
    runs = the_desk().runs
    busy = runs.open_run_of(started.station)
    at_work = None if busy is None else runs.view(busy)
    if (
        at_work is not None
        and not at_work.is_ohms_check
        and wish_again(at_work.state.started, course=Course.PLATEAUS) == wish
    ):
        return redirect(f"/runs/{busy}", 303)  # pressed twice
    again = runs.start_check(wish)
    return redirect(f"/runs/{again}", 303)


def _ohms_check_page(view: "RunView") -> str:
    """An ohms check by itself: its card while it is open, what it found afterwards."""
    desk = the_desk()
    made = made_check_of(desk.store, view.run)
    if view.state.is_over and made is not None and made.checked_utc_s is not None:
        return render_template(
            "ohms_result.html", view=view, check=ohms_check_view(desk.store, made, g.scale)
        )
    live = desk.live.station(view.station)
    now = (
        None
        if live is None
        else station_now(desk, live, thermometers_in_register(desk, view.station), g.settings.zone)
    )
    return render_template("ohms_check.html", view=view, now=now, **_card_of(view))


def _choice_page(view: "RunView", form: CurveChoiceForm) -> str:
    return render_template(
        "curve_choice.html", view=view, form=form, item=view.state.started.item, simulated=view.simulated
    )


def _view(run: int) -> "RunView":
    try:
        return the_desk().runs.view(run)
    except DeskError as error:
        abort(404, description=str(error))


def _course(view: "RunView") -> CourseView | None:
    return course_view_of(view.state, the_desk().store, g.scale)


def _as_left_of(run: int) -> int | None:
    """Newest second check of the same sender."""
    for other in reversed(the_desk().store.runs.all()):
        first = other.settings.get("as_left_of")
        if first is not None and first["run"] == run:
            return other.number
    return None


def _card_of(view: "RunView") -> dict[str, object]:
    """What the step card is drawn from."""
    return {
        "card": view.card,
        "mark": card_mark(view.card),
        "is_over": view.state.is_over or view.state.phase is Phase.CHOOSING,
        "hands": _can_help(view),
        "to": f"/runs/{view.run}",
    }


def _can_help(view: "RunView") -> bool:
    return the_desk().hands is not None and view.simulated and view.card.is_hands_turn
