"""The certificate of a station's resistance channel: asked for at a run, shown where it stands."""

from flask import Blueprint, abort, redirect
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.role import STAFF
from host.procedures.channel_checks import certify_channel
from host.web.desk_behind import the_desk
from host.web.operator import operator_of
from host.web.paper_of_run import paper_of_run
from host.web.rules import allowed

channel_pages = Blueprint("channel", __name__)


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
