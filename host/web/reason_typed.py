"""The reason that was typed into a form."""

from flask import request

from host.reason import reason_text

STOPPED_BY_HAND = "Stopped by hand."


def reason_typed(*, empty: str) -> str:
    """Reason as it is kept.

    Raises
    ------
    DeskError
        If there is none, or it cannot be printed; says so.
    """
    return reason_text(request.form.get("reason", ""), empty=empty)


def why_stopped() -> str:
    """Why a run is stopped; a press without a reason says that it was by hand.

    Raises
    ------
    DeskError
        If what was typed cannot be printed.
    """
    if not request.form.get("reason", "").strip():
        return STOPPED_BY_HAND
    return reason_typed(empty=STOPPED_BY_HAND)
