"""Coverage factors where one or two rectangles rule a budget.

A sum is normal only where no line stands out. Where one rectangle does, the result is nearly rectangular;
where two do, a trapezoid; and k = 2 claims more than there is to claim.
"""

import math
from collections.abc import Sequence

from scipy import optimize, special

#: Lines that do not rule, taken together, over those that do: at most this, or nothing rules
#: (EA-4/02 M:2022, supplement, S9.14 and S10.13; figure from memory, the S9 example agrees with it).
DOMINANCE = 0.3


def trapezoid_k(half_widths: Sequence[float], probability: float) -> float:
    """Coverage factor of a rectangle, or of two that make a symmetric trapezoid.

    Parameters
    ----------
    half_widths : sequence of float, length 1 or 2
        Of the rectangles, carried to the result. [unit of the result]
    probability : float
        Within the interval.

    Raises
    ------
    ValueError
        If there are no half-widths or more than two, or none above zero.

    Notes
    -----
    With β = (a - b) / (a + b) the standard deviation is (a + b) √((1 + β²) / 6). Where the interval ends
    on a sloping side, k = (1 - √((1 - p)(1 - β²))) / √((1 + β²) / 6); where it ends below the flat top,
    k = p (1 + β) / (2 √((1 + β²) / 6)), which for β = 1 is the rectangle's p √3.

    References
    ----------
    EA-4/02, supplement, S9.14 (k = 1.65) and S10.13 (k = 1.83 for β = 0.33); formula from memory.
    """
    wide, narrow = _two(half_widths)
    beta = (wide - narrow) / (wide + narrow)
    deviation = math.sqrt((1.0 + beta**2) / 6.0)
    if probability > 2.0 * beta / (1.0 + beta):
        return (1.0 - math.sqrt((1.0 - probability) * (1.0 - beta**2))) / deviation
    return probability * (1.0 + beta) / 2.0 / deviation


def trapezoid_with_rest_k(half_widths: Sequence[float], rest_u: float, probability: float) -> float:
    """Coverage factor of one or two rectangles with a normal rest: the exact shape of their sum.

    The printed rule (`trapezoid_k`) leaves the rest out of the shape and so covers a little less than it
    says: k = 1.65 covers 93.6 % in the example S9.

    Parameters
    ----------
    half_widths : sequence of float, length 1 or 2
        [unit of the result]
    rest_u : float
        Standard uncertainty of all other lines together, taken as normal. [unit of the result]
    probability : float
        Within the interval.

    Raises
    ------
    ValueError
        As `trapezoid_k`.
    """
    wide, narrow = _two(half_widths)
    if rest_u <= 0.0:
        return trapezoid_k(half_widths, probability)
    standard_u = math.sqrt((wide**2 + narrow**2) / 3.0 + rest_u**2)

    def beyond(end: float) -> float:
        return 2.0 * _share_below(end, wide, narrow, rest_u) - 1.0 - probability

    end = optimize.brentq(beyond, 0.0, wide + narrow + 10.0 * rest_u, xtol=1e-12 * standard_u)
    return float(end / standard_u)


def ruling_rectangles(rectangular_u: Sequence[float], all_u: Sequence[float]) -> int:
    """How many rectangles rule a budget: 1, 2, or 0 where none do.

    Parameters
    ----------
    rectangular_u : sequence of float
        Contributions of the rectangular lines. [unit of the result]
    all_u : sequence of float
        Contributions of all lines, those among them. [unit of the result]
    """
    variance = sum(u**2 for u in all_u)
    ruling = 0.0
    for count, u in enumerate(sorted(rectangular_u, reverse=True)[:2], start=1):
        ruling += u**2
        if ruling > 0.0 and math.sqrt(max(variance - ruling, 0.0)) <= DOMINANCE * math.sqrt(ruling):
            return count
    return 0


def _two(half_widths: Sequence[float]) -> tuple[float, float]:
    ordered = sorted((abs(half_width) for half_width in half_widths), reverse=True)
    if not 1 <= len(ordered) <= 2 or not ordered[0] > 0.0:
        raise ValueError("One or two rectangles with a width make this shape.")
    return ordered[0], ordered[1] if len(ordered) == 2 else 0.0


def _share_below(end: float, wide: float, narrow: float, rest_u: float) -> float:
    """Distribution function of the sum, from the ends of its rectangles."""
    if narrow == 0.0:
        corners = ((wide, 1.0), (-wide, -1.0))
        return sum(sign * rest_u * _ramp((end + corner) / rest_u) for corner, sign in corners) / (2.0 * wide)
    four = ((wide + narrow, 1.0), (wide - narrow, -1.0), (narrow - wide, -1.0), (-wide - narrow, 1.0))
    return sum(sign * rest_u**2 * _bowl((end + corner) / rest_u) for corner, sign in four) / (
        4.0 * wide * narrow
    )


def _ramp(z: float) -> float:
    """Mean of max(z + N, 0) with N standard normal."""
    return z * float(special.ndtr(z)) + _density(z)


def _bowl(z: float) -> float:
    """Mean of max(z + N, 0)²/2 with N standard normal."""
    return 0.5 * ((z**2 + 1.0) * float(special.ndtr(z)) + z * _density(z))


def _density(z: float) -> float:
    return math.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
