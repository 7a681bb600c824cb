"""Labels of certificates: one sticker from a certificate's page, sheets from the list."""

from flask import Blueprint, Response, abort, request

from host.certificates.label import PLACES, Label, sheet_pdf, stickers_pdf
from host.errors import DeskError
from host.labels import NoLabelError, labels_of
from host.people.role import STAFF
from host.store.certificates import UnknownCertificateError
from host.web.certificate_list import certificates_page
from host.web.desk_behind import the_desk
from host.web.rules import allowed

label_pages = Blueprint("labels", __name__)


@label_pages.get("/certificates/<number>/label.pdf")
@allowed(*STAFF)
def sticker(number: str) -> Response:
    """One label, a page of its own size."""
    try:
        labels = labels_of(the_desk().store, [number])
    except UnknownCertificateError as error:
        abort(404, description=str(error))
    except NoLabelError as error:
        abort(409, description=str(error))
    return _file(stickers_pdf(labels), f"label-{number}.pdf")


@label_pages.get("/certificates/labels.pdf")
@allowed(*STAFF)
def sheet() -> Response | tuple[str, int]:
    """Sheets with a label of each certificate that was ticked."""
    numbers, start = request.args.getlist("number"), request.args.get("start", "").strip()
    trouble = {}
    labels: list[Label] = []
    try:
        labels = labels_of(the_desk().store, numbers)
        if not labels:
            trouble["number"] = "Tick the certificates whose labels you want."
    except DeskError as error:
        trouble["number"] = str(error)
    first = _place(start)
    if first is None:
        trouble["start"] = f"Type a place from 1 to {PLACES}."
    if trouble or first is None:
        return certificates_page(ticked=numbers, start=start, trouble_of_labels=trouble), 422
    return _file(sheet_pdf(labels, start=first), "labels.pdf")


def _place(typed: str) -> int | None:
    if not typed:
        return 1
    return int(typed) if typed.isascii() and typed.isdigit() and 1 <= int(typed[:4]) <= PLACES else None


def _file(pdf: bytes, name: str) -> Response:
    return Response(
        pdf, mimetype="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )
