"""A picture that comes with a form."""

from collections.abc import Callable

from flask import Request

from host.picture import LARGEST_FILE, Picture

#: Pages whose forms may bring a picture along, by endpoint, and the room such a form has.
TAKE_A_PICTURE = frozenset({"stations.start_sender_check", "pictures.add_photo", "pictures.change_logo"})
_ROOM = LARGEST_FILE + 200_000


def give_room(request: Request) -> None:
    """Let the form of such a page be as large as a photo."""
    if request.endpoint in TAKE_A_PICTURE and request.mimetype == "multipart/form-data":
        request.max_content_length = _ROOM


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
