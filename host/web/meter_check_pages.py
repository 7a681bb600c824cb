"""Pages of the check of a resistance meter or a decade box: the form, its history, and what came of one."""

from dataclasses import replace

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.local_time import local_day
from host.ohms_register import ohms_entry
from host.people.role import STAFF
from host.procedures.ohms.meter_check import MeterChecks, MeterCheckSettings, Subject, points_of
from host.web.desk_behind import the_desk
from host.web.kind_result_view import kind_result_view_of
from host.web.meter_check_form import (
    AGAINST,
    MeterCheckForm,
    empty_meter_form,
    filled_meter_form,
    references_of,
)
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.rules import allowed
from host.web.shop_day import shop_day

meter_check_pages = Blueprint("meter_check", __name__)


@meter_check_pages.get("/meter-check")
@allowed(*STAFF)
def index() -> str:
    """What it takes, the form, and every check so far."""
    return _index(empty_meter_form(request.args, the_desk().store))


@meter_check_pages.post("/meter-check")
@allowed(*STAFF)
def check() -> AnyResponse | tuple[str, int]:
    """Work out what was typed and let its certificate out, or say beside the field why not."""
    form = filled_meter_form(request.form, store=the_desk().store, shop=g.settings, today=shop_day())
    if form.settings is None:
        return _index(form), 422
    settings = replace(form.settings, operator=operator_of(form.settings.operator))
    run = MeterChecks(the_desk().store).conclude(settings, shop=g.settings.shop, today=shop_day())
    return redirect(f"/meter-check/{run}", 303)


@meter_check_pages.get("/meter-check/<int:run>")
@allowed(*STAFF)
def result(run: int) -> str:
    """What came of it, or a way to go on where the desk was killed before its paper."""
    settings, paper = _settings(run), paper_of_run(the_desk().store, run)
    if paper is None:
        return render_template("meter_check_unfinished.html", run=run, item=settings.item)
    return render_template(
        "meter_check_result.html",
        run=run,
        serial=settings.serial,
        is_meter=settings.subject is Subject.METER,
        paper_of_run=paper,
        result=kind_result_view_of(paper.files, g.scale),
        in_register=paper.issued is not None and _in_register(settings, paper.issued.number),
        number_in_register=_number_in_register(settings),
    )


@meter_check_pages.post("/meter-check/<int:run>/paper")
@allowed(*STAFF)
def finish(run: int) -> AnyResponse:
    """Let out what is kept and has no paper yet; once more changes nothing."""
    _settings(run)
    MeterChecks(the_desk().store).finish(run, shop=g.settings.shop, today=shop_day())
    return redirect(f"/meter-check/{run}", 303)


@meter_check_pages.post("/meter-check/<int:run>/register")
@allowed(*STAFF)
def register(run: int) -> AnyResponse:
    """Enter what was found as the certificate in force of what was calibrated; once more changes nothing."""
    settings, paper = _settings(run), paper_of_run(the_desk().store, run)
    if paper is None or paper.issued is None or paper.standing is None or not paper.standing.is_in_force:
        raise DeskError("Only an issued certificate in force goes into the register.")
    store = the_desk().store
    if not _in_register(settings, paper.issued.number):
        issued = local_day(paper.issued.issued_utc_s, g.settings.zone)
        entry = ohms_entry(
            settings,
            number=paper.issued.number,
            issued=issued,
            shop=g.settings.shop,
            kept_at=store.register.kept_at(settings.subject.value, settings.serial),
        )
        store.register.add(entry)
    return redirect(f"/register/{_number_in_register(settings)}", 303)


def _settings(run: int) -> MeterCheckSettings:
    try:
        return MeterChecks(the_desk().store).settings(run)
    except DeskError as error:
        abort(404, description=str(error))


def _in_register(settings: MeterCheckSettings, certificate: str) -> bool:
    return any(
        (one.kind, one.serial, one.certificate) == (settings.subject.value, settings.serial, certificate)
        for one in the_desk().store.register.all()
    )


def _number_in_register(settings: MeterCheckSettings) -> int | None:
    return next(
        (
            standing.number
            for standing in the_desk().store.register.standings()
            if (standing.kind, standing.serial) == (settings.subject.value, settings.serial)
        ),
        None,
    )


def _index(form: MeterCheckForm) -> str:
    store = the_desk().store
    rows = []
    for run, settings in MeterChecks(store).history():
        worst = max(points_of(settings), key=lambda point: abs(point.error_ohm) / point.setting_ohm)
        rows.append((run, settings, worst))
    return render_template(
        "meter_check.html",
        form=form,
        subjects=tuple(Subject),
        references=references_of(store),
        against=AGAINST,
        rows=rows,
        withdrawn=store.certificates.withdrawn_runs(),
    )
