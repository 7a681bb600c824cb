"""Numbers as they are printed: rounded to their uncertainty, never further."""

import math
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

#: A certificate asks for the same few hundred numbers a dozen times: for its tables, data, XML and words.
_KEPT = 4096


@lru_cache(_KEPT)
def decimals_of(expanded_u: float) -> int:
    """Decimal places that show an uncertainty to two significant digits (JCGM 100, 7.2.6).

    Raises
    ------
    ValueError
        If ``expanded_u`` is not positive.
    """
    if not expanded_u > 0.0:
        raise ValueError("Only a positive uncertainty tells how to round.")
    places = 1 - math.floor(math.log10(expanded_u))
    rounded = float(_quantized(expanded_u, places))
    return 1 - math.floor(math.log10(rounded))


@lru_cache(_KEPT)
def rounded_text(number: float, decimals: int) -> str:
    """``number`` in plain digits with ``decimals`` places; negative places round to tens, hundreds …

    A value that rounds to nothing is printed without a minus sign.
    """
    rounded = _quantized(number, decimals)
    if rounded == 0:
        rounded = abs(rounded)
    return f"{rounded:.{max(decimals, 0)}f}"


def two_digits(uncertainty: float) -> str:
    """An uncertainty to two significant digits, in plain digits; nothing stays ``0``."""
    return rounded_text(uncertainty, decimals_of(uncertainty)) if uncertainty > 0 else "0"


def _quantized(number: float, decimals: int) -> Decimal:
    return Decimal(repr(float(number))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
