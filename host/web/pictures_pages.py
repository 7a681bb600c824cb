"""Pictures: the bytes of one, a photo added to a run, the shop's own set or taken away."""

from flask import Blueprint, Response, abort, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.people.role import STAFF, Role
from host.picture import PictureError, logo_of, photo_of
from host.web.desk_behind import the_desk
from host.web.operator import operator_of
from host.web.picture_upload import uploaded
from host.web.rules import allowed

pictures_pages = Blueprint("pictures", __name__)

_NONE_CHOSEN = "Take a photo or choose a picture first."


@pictures_pages.get("/pictures/<sha256>")
@allowed(*STAFF)
def picture(sha256: str) -> Response:
    """One picture; its address is its digest, so it never changes."""
    found = the_desk().store.pictures.get(sha256)
    if found is None:
        abort(404, description="There is no such picture here.")
    response = Response(found.data, mimetype=found.media_type.value)
    response.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return response


@pictures_pages.get("/runs/<int:run>/photo")
@allowed(*STAFF)
def photo_form(run: int) -> str:
    """The form that adds a photo to a run."""
    return _photo_page(run)


@pictures_pages.post("/runs/<int:run>/photo")
@allowed(*STAFF)
def add_photo(run: int) -> AnyResponse | tuple[str, int]:
    """Add a photo of the sender to its run, or say why not."""
    store = the_desk().store
    try:
        photo = uploaded(request, "photo", photo_of)
    except PictureError as error:
        return _photo_page(run, str(error)), 422
    if photo is None:
        return _photo_page(run, _NONE_CHOSEN), 422
    store.runs.get(run)
    store.pictures.use_for_run(run, store.pictures.keep(photo), by=operator_of(""))
    return redirect(f"/runs/{run}", 303)


@pictures_pages.get("/settings/logo")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def logo_form() -> str:
    """The form that sets the shop's own picture."""
    return _logo_page()


@pictures_pages.post("/settings/logo")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def change_logo() -> AnyResponse | tuple[str, int]:
    """Set the shop's own picture, or take it away."""
    pictures = the_desk().store.pictures
    if "remove" in request.form:
        pictures.use_as_logo(None, by=operator_of(""))
        return redirect("/settings/logo", 303)
    try:
        logo = uploaded(request, "logo", logo_of)
    except PictureError as error:
        return _logo_page(str(error)), 422
    if logo is None:
        return _logo_page(_NONE_CHOSEN), 422
    pictures.use_as_logo(pictures.keep(logo), by=operator_of(""))
    return redirect("/settings/logo", 303)


def _photo_page(run: int, trouble: str = "") -> str:
    store = the_desk().store
    if store.runs.kind_of(run) is None:
        abort(404, description=f"There is no run {run:04d}. Choose one from the list of runs.")
    return render_template("photo.html", run=run, photo=store.pictures.of_run(run), trouble=trouble)


def _logo_page(trouble: str = "") -> str:
    return render_template("logo.html", logo=the_desk().store.pictures.logo(), trouble=trouble)
