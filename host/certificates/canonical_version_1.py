"""Data of format version 1, of senders alone, as format version 2 has them."""

from typing import Any

_BODY = ("curve", "curve_source", "curve_tolerance", "points", "coefficients", "fit_words")


def version_2_of(read: dict[str, Any]) -> dict[str, Any]:
    """The same certificate in the shape of version 2.

    Raises
    ------
    KeyError
        If a part of the results is missing.
    """
    head = {name: value for name, value in read.items() if name not in _BODY}
    return head | {"version": 2, "kind": "sender", "body": {name: read[name] for name in _BODY}}
