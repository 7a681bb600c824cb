"""Pages of the certificates: the list, each with its state, and the issued bytes."""

from flask import Blueprint, Response, abort, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.attached import XML_ATTACHMENT, attached_file
from host.certificates.canonical import certificate_from_canonical
from host.certificates.errors import CertificateError
from host.errors import DeskError
from host.people.deed import Deed
from host.people.role import STAFF, Role
from host.procedures.authorisation import AMENDABLE, amend
from host.store.certificates import IssuedCertificate, UnknownCertificateError
from host.web.audit_note import note
from host.web.certificate_list import certificates_page
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.kind_result_view import tables_of_paper
from host.web.rules import allowed

certificates_pages = Blueprint("certificates", __name__)

_LABELS = {
    "item": "What was measured",
    "customer": "The customer",
    "customer_contact": "How the customer is reached",
    "place": "Where the work was done, if elsewhere",
    "received": "Day the item came in",
    "item_condition": "Condition of the item",
    "next_due": "Due again, as agreed with the customer",
}


@certificates_pages.get("/certificates")
@allowed(*STAFF)
def index() -> str:
    """Every certificate, the newest first."""
    return certificates_page()


@certificates_pages.get("/certificates/<number>")
@allowed(*STAFF)
def certificate(number: str) -> str:
    """One certificate: how it stands, and what can still be done about it."""
    return _page(_issued(number))


@certificates_pages.post("/certificates/<number>/withdraw")
@allowed(Role.AUTHORISER)
def withdraw(number: str) -> AnyResponse | tuple[str, int]:
    """Withdraw a certificate, with the reason."""
    issued = _issued(number)
    typed = request.form.get("reason", "")
    try:
        reason = the_desk().store.certificates.withdraw(issued.number, typed, by=the_visitor().name)
    except DeskError as error:
        return _page(issued, error_of_reason=str(error), reason=typed), 422
    note(Deed.CERTIFICATE_WITHDRAWN, f"certificate {issued.number}: {reason}")
    return redirect(f"/certificates/{issued.number}", 303)


@certificates_pages.post("/certificates/<number>/amend")
@allowed(*STAFF)
def change(number: str) -> AnyResponse | tuple[str, int]:
    """Make a new certificate, or a draft of it, that is to take the place of this one."""
    issued = _issued(number)
    typed = {name: " ".join(request.form.get(name, "").split()) for name in (*AMENDABLE, "why")}
    texts = {name: typed[name] for name in AMENDABLE if name in request.form}
    try:
        outcome = amend(the_desk().store, issued.number, texts, typed["why"], by=the_visitor().name)
    except (DeskError, CertificateError) as error:
        standing = the_desk().store.certificates.standing(issued.number)
        if not standing.is_in_force:
            return _page_of_what_holds_now(issued, typed, str(error)), 422
        place = "why" if not typed["why"] else "form"
        return _page(issued, typed=typed, errors_of_change={place: str(error)}), 422
    made = f"certificate {outcome.number}" if outcome.number else f"draft {outcome.draft}"
    note(Deed.CERTIFICATE_AMENDED, f"certificate {issued.number}: {made}")
    return redirect(f"/certificates/{outcome.number or issued.number}", 303)


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


@certificates_pages.get("/certificates/<number>.xml")
@allowed(*STAFF)
def xml(number: str) -> Response:
    """The digital calibration certificate as issued, out of the paper."""
    try:
        inside = attached_file(_issued(number).files.pdf, XML_ATTACHMENT)
    except CertificateError as error:
        abort(404, description=str(error))
    return _file(inside, "application/xml", f"{number}.xml")


def _page(
    issued: IssuedCertificate,
    *,
    typed: dict[str, str] | None = None,
    errors_of_change: dict[str, str] | None = None,
    error_of_reason: str = "",
    reason: str = "",
) -> str:
    store = the_desk().store
    paper = certificate_from_canonical(issued.files.canonical_json)
    waiting = [one for one in store.drafts.of_run(issued.run) if one.supersedes == issued.number]
    return render_template(
        "certificate.html",
        issued=issued,
        paper=paper,
        tables=tables_of_paper(paper),
        standing=store.certificates.standing(issued.number),
        has_label=paper.kind.has_label,
        waiting=next((one for one in waiting if one.is_waiting), None),
        links=store.chain.of_certificate(issued.number),
        amendable=tuple(_LABELS.items()),
        typed=typed or {name: getattr(paper, name) for name in AMENDABLE} | {"why": ""},
        errors_of_change=errors_of_change or {},
        error_of_reason=error_of_reason,
        reason=reason,
    )


def _page_of_what_holds_now(old: IssuedCertificate, typed: dict[str, str], trouble: str) -> str:
    """Page of the certificate that took the place of an amended one, with what was typed for that one.

    Only what was changed there is carried over; the rest is as the newest certificate says it.
    """
    certificates = the_desk().store.certificates
    newest = old
    while number_now := certificates.standing(newest.number).number_now:
        newest = certificates.get(number_now)
    said_old, said_now = (certificate_from_canonical(one.files.canonical_json) for one in (old, newest))
    carried = {
        name: typed[name] if typed[name] != getattr(said_old, name) else getattr(said_now, name)
        for name in AMENDABLE
    }
    if newest is not old:
        trouble = f"{trouble} This is {newest.number}, with what you typed: look at it, and send it again."
    return _page(newest, typed=carried | {"why": typed["why"]}, errors_of_change={"form": trouble})


def _issued(number: str) -> IssuedCertificate:
    try:
        return the_desk().store.certificates.get(number)
    except UnknownCertificateError as error:
        abort(404, description=str(error))


def _file(content: bytes, mimetype: str, name: str) -> Response:
    return Response(content, mimetype=mimetype, headers={"Content-Disposition": f'inline; filename="{name}"'})
