"""A number as people type it into a field: plain digits, a decimal point, a sign, perhaps an exponent."""

import math
import re

_WRITTEN = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def typed_number(text: str, *, below: float = 1e9) -> float | None:
    """Number of a text, None where it is none or its size is ``below`` or more.

    What a program would take and no person means, ``1_0`` or the digits of another script, is no number.
    """
    written = text.replace("\u2212", "-")
    if not _WRITTEN.fullmatch(written):
        return None
    number = float(written)
    return number if math.isfinite(number) and abs(number) < below else None
