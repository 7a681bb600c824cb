"""A paper verified by whoever holds it: its file, or the number and fingerprint at its foot."""

from flask import Blueprint, render_template, request
from werkzeug.exceptions import RequestEntityTooLarge

from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.procedures.record.paper_at_desk import (
    LARGEST_PAPER,
    PaperAtDesk,
    paper_at_desk,
    standing_by_fingerprint,
)
from host.seal.errors import SealError
from host.seal.seal_check import SealState
from host.web.desk_behind import the_desk
from host.web.rules import open_to_anyone

verify_pages = Blueprint("verify", __name__)

_MEGABYTES = LARGEST_PAPER // 1_000_000
_NONE_CHOSEN = "Choose the file of the certificate first: the PDF as you were given it."
_TOO_LARGE = (
    f"The file has over {_MEGABYTES} MB, more than any certificate of this desk. Choose the PDF itself."
)
_NO_PDF = "This is no PDF file. Choose the PDF as you were given it, not a scan or a picture of it."
_KEY_DAMAGED = "The shop's own key cannot be read just now, so nothing was checked. Ask the shop."


@verify_pages.get("/verify")
@open_to_anyone
def index() -> str:
    """Both forms: a file, or number and fingerprint."""
    return _page()


@verify_pages.post("/verify")
@open_to_anyone
def file() -> str | tuple[str, int]:
    """Say what is found of a file; it is read, and not kept."""
    upload = request.files.get("paper")
    data = b""
    if upload is not None:
        data = upload.read(LARGEST_PAPER + 1)
        upload.close()
    if not data:
        return _page(file_wrong=_NONE_CHOSEN), 422
    if len(data) > LARGEST_PAPER:
        return _page(file_wrong=_TOO_LARGE), 422
    try:
        found = paper_at_desk(the_desk().store, data)
    except SealError:
        return _page(file_wrong=_KEY_DAMAGED), 503
    if found.report.state is SealState.UNREADABLE:
        return _page(file_wrong=_NO_PDF), 422
    return _page(found=found)


@verify_pages.post("/verify/number")
@open_to_anyone
def number() -> str | tuple[str, int]:
    """Say how the certificate of a number and its fingerprint stands, and nothing more."""
    typed = " ".join(request.form.get("number", "").upper().split())
    print_ = " ".join(request.form.get("fingerprint", "").split())
    wrong = {
        name: words
        for name, text, words in (
            ("number", typed, "Type the number at the foot of the first page."),
            ("fingerprint", print_, "Type the fingerprint beside it: four groups of four."),
        )
        if not text
    }
    if wrong:
        return _page(number=typed, fingerprint=print_, number_wrong=wrong), 422
    standing = standing_by_fingerprint(the_desk().store, typed, print_)
    return _page(number=typed, fingerprint=print_, asked=True, standing=standing)


@verify_pages.errorhandler(RequestEntityTooLarge)
def too_large(error: RequestEntityTooLarge) -> tuple[str, int]:
    """A file so large that it was not read at all."""
    return _page(file_wrong=_TOO_LARGE), 413


def _page(
    *,
    found: PaperAtDesk | None = None,
    file_wrong: str = "",
    number: str = "",
    fingerprint: str = "",
    number_wrong: dict[str, str] | None = None,
    asked: bool = False,
    standing: object = None,
) -> str:
    return render_template(
        "verify.html",
        found=found,
        paper=_paper_of(found),
        file_wrong=file_wrong,
        number=number,
        fingerprint=fingerprint,
        number_wrong=number_wrong or {},
        asked=asked,
        standing=standing,
        megabytes=_MEGABYTES,
    )


def _paper_of(found: PaperAtDesk | None) -> Certificate | None:
    """What the paper says, which its holder can read in it; None where this desk did not issue it."""
    if found is None or found.number is None:
        return None
    return certificate_from_canonical(the_desk().store.certificates.data_of(found.number))
