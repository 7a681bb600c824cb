"""Resistance channels of a station: their ohms check by itself, its history, and their certificate."""

from flask import Blueprint, abort, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.printable import printable_text
from host.equivalent_kelvin import EQUIVALENT_WORDS
from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.ohms.channel_checks import certify_channel
from host.procedures.sender.sender_check_start import check_that_serves
from host.web.channel_history_view import channel_history
from host.web.desk_behind import the_desk
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.rules import allowed

channel_pages = Blueprint("channel", __name__)

_LONGEST_NAME = 80


@channel_pages.post("/stations/<station>/ohms-check")
@allowed(*STAFF)
def start(station: str) -> AnyResponse | tuple[str, int]:
    """Start an ohms check by itself, or say why not where it was asked for."""
    if the_desk().live.station(station) is None:
        abort(404, description=f"There is no station {station!r:.40} at this desk.")
    operator = request.form.get("operator", "")
    try:
        operator = printable_text(operator, "your name", longest=_LONGEST_NAME)
        run = the_desk().runs.start_ohms_check(station, operator=operator_of(operator))
    except DeskError as error:
        return _history_page(station, operator=operator, error=str(error)), 422
    return redirect(f"/runs/{run}", 303)


@channel_pages.get("/stations/<station>/ohms")
@allowed(*STAFF)
def history(station: str) -> str:
    """Every ohms check of a station: what was found on each range, and how it drifts."""
    if the_desk().live.station(station) is None:
        abort(404, description=f"There is no station {station!r:.40} at this desk.")
    return _history_page(station)


@channel_pages.post("/runs/<int:run>/channel")
@allowed(*STAFF)
def certify(run: int) -> AnyResponse:
    """Put the ohms check of a run on paper; asked for again, the same paper."""
    try:
        made = certify_channel(the_desk().store, run, operator=operator_of(""))
    except DeskError as error:
        abort(404, description=str(error))
    return redirect(f"/channels/{made}", 303)


@channel_pages.get("/channels/<int:run>")
@allowed(*STAFF)
def channel(run: int) -> AnyResponse:
    """Lead to the certificate of a channel, or to the draft of it."""
    paper = paper_of_run(the_desk().store, run)
    if paper is None:
        abort(404, description=f"Run {run:04d} came to no paper.")
    if paper.issued is not None:
        return redirect(f"/certificates/{paper.issued.number}", 303)
    return redirect(paper.paper_address, 303)


def _history_page(station: str, *, operator: str = "", error: str = "") -> str:
    desk = the_desk()
    latest = desk.live.latest(station)
    is_simulated = latest is not None and latest.simulated
    return render_template(
        "ohms_history.html",
        station=station,
        history=channel_history(desk.store, station, zone=g.settings.zone),
        serves=check_that_serves(station, store=desk.store, live=desk.live),
        open_run=desk.runs.open_run_of(station),
        simulated=is_simulated,
        operator=operator,
        error=error,
        equivalent_words=EQUIVALENT_WORDS,
    )
