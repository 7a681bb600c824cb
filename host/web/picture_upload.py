"""A picture that comes with a form."""

from collections.abc import Callable

from flask import Request

from host.picture import LARGEST_FILE, Picture


def uploaded(request: Request, name: str, made: Callable[[bytes], Picture]) -> Picture | None:
    """Picture of a form's field, None where none was chosen.

    Raises
    ------
    PictureError
        If it cannot be taken.
    """
    upload = request.files.get(name)
    data = b""
    if upload is not None:
        data = upload.read(LARGEST_FILE + 1)
        upload.close()
    return made(data) if data else None
