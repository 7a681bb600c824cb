"""Numbers as they are printed: rounded to their uncertainty, never further."""

import math
from decimal import ROUND_HALF_EVEN, Decimal
from functools import lru_cache

#: A certificate asks for the same few hundred numbers a dozen times: for its tables, data, XML and words.
_KEPT = 4096
#: Nobody writes a limit with more digits; one that was worked out has as many as fit. A choice of ours.
_MOST_STATED_DIGITS = 6
#: Nor does anybody state a limit so much finer than U; a thousandth of a certified resistance is worked out.
#: A choice of ours.
_MOST_FURTHER_PLACES = 2


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


def limit_text(limit: float, *, stated_places: int, derived_places: int) -> str:
    """A limit as printed: one that was stated with its own digits, one that was worked out rounded.

    A requirement has no uncertainty that would tell how to round it, and a verdict compares with it in full.

    Parameters
    ----------
    limit : float
    stated_places : int
        Decimal places that a stated limit is filled up to.
    derived_places : int
        Decimal places of a limit that was worked out; two significant digits are printed at least.
    """
    own = _own_places(limit)
    if own is not None and own <= stated_places + _MOST_FURTHER_PLACES:
        return rounded_text(limit, max(own, stated_places))
    return rounded_text(limit, max(derived_places, decimals_of(abs(limit))))


def tabled_limit_text(limit: float, expanded_u: float) -> str:
    """A limit beside a result: filled up to the places of U, or one place further if it was worked out."""
    places = max(decimals_of(expanded_u), 0)
    return limit_text(limit, stated_places=places, derived_places=places + 1)


def _own_places(number: float) -> int | None:
    """Decimal places with which a number was written down; None where it came out of a calculation."""
    if number == 0.0:
        return 0
    # Beyond the tenth digit stands what multiplying by a hundredth leaves behind.
    digits = Decimal(f"{number:.9e}").normalize()
    if len(digits.as_tuple().digits) > _MOST_STATED_DIGITS:
        return None
    return max(-int(digits.as_tuple().exponent), 0)


def _quantized(number: float, decimals: int) -> Decimal:
    return Decimal(repr(float(number))).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
