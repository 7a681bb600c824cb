"""Why somebody did something, in one line: it stands in the record, and often on a certificate."""

from collections.abc import Mapping
from typing import Any

from host.certificates.printable import printable_text
from host.errors import DeskError

LONGEST_REASON = 300


def reason_text(typed: str, *, empty: str) -> str:
    """A reason as it is kept, and as a certificate would print it.

    Parameters
    ----------
    typed : str
    empty : str
        What to say where there is none.

    Raises
    ------
    DeskError
        If there is none, or it cannot be printed.
    """
    reason = printable_text(typed, "the reason", longest=LONGEST_REASON)
    if not reason:
        raise DeskError(empty)
    return reason


def with_printable_reason(payload: Mapping[str, Any]) -> Mapping[str, Any]:
    """Payload of an event, its reason, where it has one, as a certificate would print it.

    Raises
    ------
    DeskError
        If the reason is empty or cannot be printed.
    """
    if "reason" not in payload:
        return payload
    empty = "Write why: it stands in the record, and whoever reads it later has nothing else."
    return {**payload, "reason": reason_text(str(payload["reason"]), empty=empty)}
