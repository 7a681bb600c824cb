"""Numbers that a form or a question brings: runs, results and accounts, as `number_in_address` takes them."""

import re

from host.web.number_in_address import NumberInAddress

_NUMBER = re.compile(NumberInAddress.regex)


def is_number(text: str) -> bool:
    """Tell whether a text can be the number of anything here."""
    return _NUMBER.fullmatch(text) is not None


def number_of(text: str) -> int:
    """A number that was sent.

    Raises
    ------
    ValueError
        If it is none, or longer than any that was ever given.
    """
    if not is_number(text):
        raise ValueError(f"{text[:20]!r} is no number of anything here.")
    return int(text)
