"""The photo of a start form: kept at once, so that a refusal of the form does not lose it."""

from dataclasses import replace

from flask import request

from host.picture import PictureError, photo_of
from host.web.desk_behind import the_desk
from host.web.picture_upload import uploaded
from host.web.start_form import StartForm


def with_photo(form: StartForm) -> StartForm:
    """The form with the digest of its photo under ``photo_kept``: what came now, else what came before."""
    pictures = the_desk().store.pictures
    before = request.form.get("photo_kept", "")
    kept = before if pictures.get(before) is not None else ""
    errors = dict(form.errors)
    try:
        photo = uploaded(request, "photo", photo_of)
    except PictureError as error:
        errors["photo"] = str(error)
    else:
        kept = kept if photo is None else pictures.keep(photo)
    return replace(form, typed={**form.typed, "photo_kept": kept}, errors=errors)
