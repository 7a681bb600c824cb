"""Pages of the certificates: the list, and the issued bytes."""

from flask import Blueprint, Response, abort, render_template

from host.people.role import STAFF
from host.store.certificates import IssuedCertificate, UnknownCertificateError
from host.web.certificate_list import certificate_rows
from host.web.desk_behind import the_desk
from host.web.rules import allowed

certificates_pages = Blueprint("certificates", __name__)


@certificates_pages.get("/certificates")
@allowed(*STAFF)
def index() -> str:
    """Every certificate, the newest first."""
    return render_template("certificates.html", rows=certificate_rows(the_desk().store))


@certificates_pages.get("/certificates/<number>.pdf")
@allowed(*STAFF)
def pdf(number: str) -> Response:
    """The paper as issued."""
    return _file(_issued(number).files.pdf, "application/pdf", f"{number}.pdf")


@certificates_pages.get("/certificates/<number>.json")
@allowed(*STAFF)
def json(number: str) -> Response:
    """The data as issued."""
    return _file(_issued(number).files.canonical_json, "application/json", f"{number}.json")


def _issued(number: str) -> IssuedCertificate:
    try:
        return the_desk().store.certificates.get(number)
    except UnknownCertificateError as error:
        abort(404, description=str(error))


def _file(content: bytes, mimetype: str, name: str) -> Response:
    return Response(content, mimetype=mimetype, headers={"Content-Disposition": f'inline; filename="{name}"'})
