"""Pages of the probe check: what it takes, its history, and what came of one."""

from dataclasses import replace

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.references.probe_check import ProbeChecks, next_words, outside_words, points_of
from host.web.desk_behind import the_desk
from host.web.kind_result_view import kind_result_view_of
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.probe_check_form import FIELDS, fill_in, probes_of, settings_of
from host.web.rules import allowed
from host.web.shop_day import shop_day
from host.web.text_field import take_text

probe_check_pages = Blueprint("probe_check", __name__)


@probe_check_pages.get("/probe-check")
@allowed(*STAFF)
def index() -> str:
    """What it takes, the form, and every check so far; ``serial`` or ``station`` says of which probe."""
    asked = {name: request.args.get(name, "") for name in ("serial", "station")}
    return _index(dict.fromkeys(FIELDS, "") | {"probe": probes_of(the_desk().store).proposed(**asked)}, {})


@probe_check_pages.post("/probe-check")
@allowed(*STAFF)
def check() -> AnyResponse | tuple[str, int]:
    """Judge what was read and let its certificate out, or say beside the field why not."""
    typed = {name: request.form.get(name, "").strip() for name in FIELDS}
    errors: dict[str, str] = {}
    if "read" in request.form:
        desk = the_desk()
        fill_in(request.form["read"], typed, errors, store=desk.store, live=desk.live)
        return _index(typed, errors), 422 if errors else 200
    take_text(typed, "operator", "your name", errors)
    settings = settings_of(typed, errors, store=the_desk().store, rule=g.settings.rule.value)
    if errors or settings is None:
        return _index(typed, errors), 422
    settings = replace(settings, operator=operator_of(settings.operator))
    try:
        run = ProbeChecks(the_desk().store).conclude(settings, shop=g.settings.shop, today=shop_day())
    except DeskError as error:
        return _index(typed, {"form": str(error)}), 422
    return redirect(f"/probe-check/{run}", 303)


@probe_check_pages.get("/probe-check/<int:run>")
@allowed(*STAFF)
def result(run: int) -> str:
    """What came of it."""
    store = the_desk().store
    try:
        settings = ProbeChecks(store).settings(run)
    except DeskError as error:
        abort(404, description=str(error))
    paper = paper_of_run(store, run)
    if paper is None:  # the desk was killed between the readings and their paper
        raise DeskError(f"Probe check {run:04d} came to no paper: type its readings again.")
    return render_template(
        "probe_check_result.html",
        run=run,
        paper_of_run=paper,
        result=kind_result_view_of(paper.files, g.scale),
        next_words=next_words(points_of(settings)),
        outside=outside_words(settings, points_of(settings)),
    )


def _index(typed: dict[str, str], errors: dict[str, str]) -> str:
    store = the_desk().store
    rows = [
        (number, at_s, str(settings.probe["serial"]), points_of(settings))
        for number, at_s, settings in ProbeChecks(store).history()
    ]
    return render_template(
        "probe_check.html",
        form={"typed": typed, "errors": errors},
        probes=probes_of(the_desk().store),
        rows=rows,
        stations=[one.station for one in store.stations.all()],
        withdrawn=store.certificates.withdrawn_runs(),
    )
