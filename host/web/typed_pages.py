"""Pages of a check typed by hand: the form, and the same result page as a run at a bench."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from calibration.resistance.metered import LEADS_NOT_READ_OHM
from host.curve_to_find import FIND_OUT
from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.sender.curve_finding import ChoiceError
from host.procedures.sender.hand_check import HandChecks, HandCheckView
from host.registered_meter import meter_in_force, meters_of
from host.store.settings import RULES
from host.web.curve_choice_form import CurveChoiceForm, empty_choice, refused, sent_choice
from host.web.curve_list import every_curve
from host.web.desk_behind import the_desk
from host.web.number_in_form import number_of
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.result_view import result_view_of
from host.web.rules import allowed
from host.web.shop_day import shop_day
from host.web.typed_form import TypedForm, empty_typed_form, judged_form, sent_form

typed_pages = Blueprint("typed", __name__)


@typed_pages.get("/typed")
@allowed(*STAFF)
def index() -> str:
    """The form, or with ``again=RUN`` the one of an earlier check to be typed once more."""
    again = request.args.get("again", type=number_of)
    settings = None if again is None else _view(again).settings
    return _page(empty_typed_form(g.settings.rule.value, settings))


@typed_pages.post("/typed")
@allowed(*STAFF)
def check() -> AnyResponse | tuple[str, int] | str:
    """Judge what was typed and issue its certificate, or say beside the field why not."""
    if "more" in request.form:
        return _page(sent_form(request.form).with_more_rows())
    checks = HandChecks(the_desk().store)
    form = judged_form(request.form, checks, g.scale, _meter_of)
    if form.settings is None or form.errors:
        return _page(form), 422
    settings = replace(form.settings, operator=operator_of(form.settings.operator))
    if form.check is None:  # its curve is to be found out
        return redirect(f"/typed/{checks.open(settings)}", 303)
    run = checks.issue(settings, form.check, shop=g.settings.shop, today=shop_day())
    return redirect(f"/typed/{run}", 303)


@typed_pages.get("/typed/<int:run>")
@allowed(*STAFF)
def result(run: int) -> str:
    """What came of it."""
    view = _view(run)
    if view.settings.is_to_be_found_out:
        found = HandChecks(the_desk().store).curves_found(view.settings)
        return _choice_page(view, empty_choice(found, view.settings.limit_k))
    if not view.is_over:  # the desk was killed between the readings and their paper
        HandChecks(the_desk().store).complete(run, shop=g.settings.shop, today=shop_day())
        view = _view(run)
    paper = paper_of_run(the_desk().store, run)
    assert paper is not None  # it was made above at the latest
    return render_template(
        "result.html",
        view=view,
        paper_of_run=paper,
        result=result_view_of(paper.files, g.scale),
        as_left=None,
        course=None,
        photo=the_desk().store.pictures.of_run(run),
    )


@typed_pages.post("/typed/<int:run>/curve")
@allowed(*STAFF)
def curve(run: int) -> AnyResponse | tuple[str, int]:
    """Judge what was typed against the curve that was pressed, or say beside the field why not."""
    view, checks = _view(run), HandChecks(the_desk().store)
    if view.settings.is_to_be_found_out:
        form = sent_choice(request.form, checks.curves_found(view.settings), the_desk().store)
        if form.choice is None:
            return _choice_page(view, form), 422
        try:
            checks.choose_curve(run, form.choice, shop=g.settings.shop, today=shop_day())
        except ChoiceError as error:
            return _choice_page(view, refused(form, error)), 422
    return redirect(f"/typed/{run}", 303)


def _meter_of(serial: str) -> Mapping[str, Any]:
    return meter_in_force(the_desk().store, serial, settings=g.settings, today=shop_day())


def _choice_page(view: HandCheckView, form: CurveChoiceForm) -> str:
    return render_template(
        "curve_choice.html", view=view, form=form, item=view.settings.item, simulated=False
    )


def _view(run: int) -> HandCheckView:
    try:
        return HandChecks(the_desk().store).view(run)
    except DeskError as error:
        abort(404, description=str(error))


def _page(form: TypedForm) -> str:
    return render_template(
        "typed.html",
        form=form,
        curves=every_curve(the_desk().store),
        meters=meters_of(the_desk().store, settings=g.settings, today=shop_day()),
        rules=RULES,
        find_out=FIND_OUT,
        leads_not_read_ohm=LEADS_NOT_READ_OHM,
    )
