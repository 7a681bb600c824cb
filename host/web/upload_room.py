"""How large a form may be: a page that takes a file has room for one, all others for what anybody types."""

from collections.abc import Mapping

from flask import Request

from host.picture import LARGEST_FILE
from host.procedures.record.paper_at_desk import LARGEST_PAPER

#: Largest file of each page whose form may bring one along, by its endpoint. [byte]
LARGEST: Mapping[str, int] = {
    "stations.start_sender_check": LARGEST_FILE,
    "pictures.add_photo": LARGEST_FILE,
    "pictures.change_logo": LARGEST_FILE,
    "verify.file": LARGEST_PAPER,
}
#: For the rest of the form; a file a little too large still comes to its page, which says so.
_ROOM_BESIDE = 200_000


def give_room(request: Request) -> None:
    """Let the form of such a page be as large as its file."""
    largest = LARGEST.get(request.endpoint or "")
    if largest is not None and request.mimetype == "multipart/form-data":
        request.max_content_length = largest + _ROOM_BESIDE
