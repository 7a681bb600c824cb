"""Pages of the comparison on the vehicle: one step at a time, the result growing beside it."""

from urllib.parse import urlencode

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.kind import Kind as CertificateKind
from host.certificates.paper_lines import SIMULATED_LINES
from host.errors import DeskError
from host.people.role import ALL_ROLES
from host.procedures.run_kind import RunKind
from host.procedures.vehicle.in_place import Kind, Step
from host.procedures.vehicle.in_place_card import card_of
from host.procedures.vehicle.in_place_runs import InPlaceRuns, InPlaceView
from host.spot_thermometer import SpotThermometer, spot_thermometers
from host.web.curve_list import every_curve
from host.web.desk_behind import the_desk
from host.web.in_place_form import StepForm, empty_step_form, event_of, surfaces
from host.web.in_place_view import result_rows
from host.web.operator import operator_of
from host.web.own_runs import is_theirs, refuse_others
from host.web.paper_of_run import paper_of_run
from host.web.reason_typed import why_stopped
from host.web.rules import allowed
from host.web.run_list import run_rows
from host.web.scale import Scale
from host.web.seen import seen
from host.web.shop_day import shop_day
from host.web.text_field import take_text

in_place_pages = Blueprint("in_place", __name__)

_NEWEST = 10
#: Fields that stay as they were typed from one spot, or one box, to the next.
_KEPT = ("thermometer", "set_emissivity", "surroundings", "setting")


@in_place_pages.get("/on-the-vehicle")
@allowed(*ALL_ROLES)
def index() -> str:
    """What it is, the form that begins one, and the newest comparisons."""
    return _index({"curve": ""}, {})


@in_place_pages.post("/on-the-vehicle")
@allowed(*ALL_ROLES)
def start() -> AnyResponse | tuple[str, int]:
    """Begin a comparison, or say beside the field why not."""
    typed = {name: request.form.get(name, "").strip() for name in ("item", "job", "operator", "curve")}
    typed["operator"] = operator_of(typed["operator"])
    errors = _start_errors(typed)
    if not errors:
        try:
            return redirect(f"/on-the-vehicle/{_runs().start(**typed)}", 303)
        except DeskError as error:
            errors["form"] = str(error)
    return _index(typed, errors), 422


@in_place_pages.get("/on-the-vehicle/<int:run>")
@allowed(*ALL_ROLES)
def comparison(run: int) -> str:
    """The next step, and what the readings say so far."""
    view = _view(run)
    typed = {name: request.args[name] for name in _KEPT if name in request.args}
    return _page(view, empty_step_form(view.state.next_step, view.curve, typed))


@in_place_pages.post("/on-the-vehicle/<int:run>/read")
@allowed(*ALL_ROLES)
def read(run: int) -> AnyResponse | tuple[str, int]:
    """Take what was typed for a step."""
    view, step = _view(run), _step()
    made = event_of(
        step,
        request.form,
        curve=view.curve,
        unit="F" if g.scale is Scale.FAHRENHEIT else "C",
        thermometers=_thermometers(),
    )
    if isinstance(made, StepForm):
        return _page(view, made), 422
    kind, payload = made
    kept = {name: request.form[name] for name in _KEPT if request.form.get(name)}
    _runs().add(run, kind, payload, after=seen())
    return redirect(_address(run, kept), 303)


@in_place_pages.post("/on-the-vehicle/<int:run>/skip")
@allowed(*ALL_ROLES)
def skip(run: int) -> AnyResponse:
    """Leave a step out."""
    _view(run)
    _runs().add(run, Kind.SKIPPED, {"step": _step().value}, after=seen())
    return redirect(_address(run, {}), 303)


@in_place_pages.post("/on-the-vehicle/<int:run>/strike")
@allowed(*ALL_ROLES)
def strike(run: int) -> AnyResponse:
    """Strike out what was read at a step: it stays in the log, no longer counts, and is asked for again."""
    _view(run)
    _runs().add(run, Kind.STRUCK_OUT, {"step": _step().value}, after=seen())
    return redirect(_address(run, {}), 303)


@in_place_pages.post("/on-the-vehicle/<int:run>/finish")
@allowed(*ALL_ROLES)
def finish(run: int) -> AnyResponse:
    """Close the comparison with what it came to."""
    _view(run)
    _runs().finish(run)
    return redirect(_address(run, {}), 303)


@in_place_pages.post("/on-the-vehicle/<int:run>/stop")
@allowed(*ALL_ROLES)
def stop(run: int) -> AnyResponse:
    """Stop it for good."""
    _view(run)
    _runs().stop(run, why_stopped())
    return redirect(_address(run, {}), 303)


def _runs() -> InPlaceRuns:
    return InPlaceRuns(the_desk().store)


def _thermometers() -> tuple[SpotThermometer, ...]:
    store = the_desk().store
    return spot_thermometers(store, g.settings, today=shop_day())


def _view(run: int) -> InPlaceView:
    try:
        view = _runs().view(run)
    except DeskError as error:
        abort(404, description=str(error))
    refuse_others(view.state.started.operator, run)
    return view


def _step() -> Step:
    word = request.form.get("step", "")
    if word not in tuple(Step):
        abort(400, description="This page is older than the program. Load it again.")
    return Step(word)


def _address(run: int, kept: dict[str, str]) -> str:
    return f"/on-the-vehicle/{run}" + (f"?{urlencode(kept)}" if kept else "")


def _index(typed: dict[str, str], errors: dict[str, str]) -> str:
    return render_template(
        "in_place_start.html",
        typed=typed,
        errors=errors,
        curves=every_curve(the_desk().store),
        newest=run_rows(
            the_desk().store, g.settings.zone, kind=RunKind.IN_PLACE, newest=_NEWEST, is_shown=is_theirs
        ),
    )


def _page(view: InPlaceView, form: StepForm) -> str:
    card = card_of(form.step if form.errors else view.state.next_step)
    return render_template(
        "in_place.html",
        view=view,
        form=form,
        card=card,
        rows=result_rows(view, g.scale),
        simulated_words=SIMULATED_LINES[CertificateKind.IN_PLACE],
        surfaces=surfaces(),
        thermometers=_thermometers(),
        paper_of_run=paper_of_run(the_desk().store, view.run) if view.state.is_finished else None,
    )


def _start_errors(typed: dict[str, str]) -> dict[str, str]:
    errors: dict[str, str] = {}
    meanings = {"item": "the vehicle", "job": "the job", "operator": "your name"}
    for name, meaning in meanings.items():
        take_text(typed, name, meaning, errors)
    if not typed["item"]:
        errors.setdefault("item", "Write which vehicle it is, in your own words.")
    if typed["curve"] not in {choice.name for choice in every_curve(the_desk().store)}:
        errors["curve"] = "Choose the curve that the computer is taken to hold."
    return errors
