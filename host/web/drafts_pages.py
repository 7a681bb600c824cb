"""Pages of the drafts: what waits to be authorised, and the press that lets it out or sends it back."""

from flask import Blueprint, Response, abort, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.certificates.canonical import certificate_from_canonical
from host.errors import DeskError
from host.people.deed import Deed
from host.people.role import STAFF, Role
from host.procedures.authorisation import authorise, may_authorise
from host.store.drafts import Draft, UnknownDraftError
from host.web.audit_note import note
from host.web.desk_behind import the_desk
from host.web.door import the_visitor
from host.web.draft_list import draft_rows
from host.web.kind_result_view import tables_of_paper
from host.web.rules import allowed

drafts_pages = Blueprint("drafts", __name__)


@drafts_pages.get("/drafts")
@allowed(Role.AUTHORISER)
def index() -> str:
    """What waits to be authorised, the oldest first."""
    return render_template("drafts.html", rows=draft_rows(the_desk().store))


@drafts_pages.get("/drafts/<int:number>")
@allowed(Role.AUTHORISER)
def draft(number: int) -> str:
    """One draft, with all that its certificate would say."""
    return _page(_draft(number))


@drafts_pages.get("/drafts/<int:number>.pdf")
@allowed(*STAFF)
def pdf(number: int) -> Response:
    """The draft as paper, set anew: it says on every page that it is none."""
    # Setting the paper brings the plotting library, which the other pages need not wait for.
    from host.certificates.pdf import render_pdf

    certificate = certificate_from_canonical(_draft(number).files.canonical_json)
    return Response(
        render_pdf(certificate),
        mimetype="application/pdf",
        headers={"Content-Disposition": f'inline; filename="draft-{number}.pdf"'},
    )


@drafts_pages.post("/drafts/<int:number>/authorise")
@allowed(Role.AUTHORISER)
def let_out(number: int) -> AnyResponse | tuple[str, int]:
    """Let a draft out as a certificate, in the name of who is signed in."""
    found = _draft(number)
    if found.number is not None:  # pressed twice
        return redirect(f"/certificates/{found.number}", 303)
    try:
        issued = authorise(the_desk().store, number, by=the_visitor().name)
    except DeskError as error:
        ended = _draft(number)
        if ended.number is not None:  # pressed twice at once
            return redirect(f"/certificates/{ended.number}", 303)
        return _page(ended, trouble=str(error)), 409
    note(Deed.CERTIFICATE_AUTHORISED, f"{found.name}: certificate {issued}")
    return redirect(f"/certificates/{issued}", 303)


@drafts_pages.post("/drafts/<int:number>/send-back")
@allowed(Role.AUTHORISER)
def send_back(number: int) -> AnyResponse | tuple[str, int]:
    """End a draft without a certificate, with the reason."""
    found = _draft(number)
    typed = request.form.get("reason", "")
    try:
        reason = the_desk().store.drafts.send_back(number, typed, by=the_visitor().name)
    except DeskError as error:
        return _page(found, error_of_reason=str(error), reason=typed), 422
    note(Deed.DRAFT_SENT_BACK, f"{found.name}: {reason}")
    return redirect("/drafts", 303)


def _draft(number: int) -> Draft:
    try:
        return the_desk().store.drafts.get(number)
    except UnknownDraftError as error:
        abort(404, description=str(error))


def _page(found: Draft, *, trouble: str = "", error_of_reason: str = "", reason: str = "") -> str:
    store = the_desk().store
    certificate = certificate_from_canonical(found.files.canonical_json)
    return render_template(
        "draft.html",
        draft=found,
        paper=certificate,
        tables=tables_of_paper(certificate),
        why_not=may_authorise(store, found, by=the_visitor().name) if found.is_waiting else "",
        trouble=trouble,
        error_of_reason=error_of_reason,
        reason=reason,
    )
