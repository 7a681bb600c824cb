"""One uncertainty of a whole decade box, from those of its single steps.

A register knows a box by a part of U that goes with the value and one that does not, combined as independent.
Errors of single steps come from one meter and may all go one way, so in a setting of several dials they are
added up here, and the two parts are made large enough for any setting.
"""

import math
from collections.abc import Iterator, Mapping

from calibration.resistance.decade_box import DecadeBoxCertificate

#: By how much the part with the value is larger than need be, so that the fixed part may be smaller.
_SHARE = 1.1


def covering_uncertainty(
    expanded_u_ohm: Mapping[float, float], *, zero_expanded_u_ohm: float, zero_left_out_ohm: float = 0.0
) -> tuple[float, float]:
    """Both parts of U that cover every setting.

    With a = r R and b the rest, (a + b)² is at most s² a² + s²/(s² - 1) b² for any s above 1, here 1.1.

    Parameters
    ----------
    expanded_u_ohm : Mapping[float, float]
        U of each step by its nominal value. [Ω]
    zero_expanded_u_ohm : float
        U of what is read with every dial at zero. [Ω]
    zero_left_out_ohm : float
        What was read there and is not said in the register. [Ω]

    Returns
    -------
    tuple[float, float]
        Relative and fixed part. [1], [Ω]
    """
    highest = max(expanded_u_ohm)
    relative = max(u / ohm for ohm, u in expanded_u_ohm.items() if ohm >= highest / 100.0)
    box = DecadeBoxCertificate(
        residual_ohm=0.0,
        step_ohm={round(ohm): ohm for ohm in expanded_u_ohm},
        expanded_u_relative=0.0,
        expanded_u_ohm=0.0,
        k=2.0,
    )
    # Each step was read less the zero, so each one after the first brings the error of the zero once more.
    excess_ohm = {round(ohm): u - relative * ohm + zero_expanded_u_ohm for ohm, u in expanded_u_ohm.items()}
    decades = {10 ** (len(str(step)) - 1) for step in excess_ohm}
    largest = [max(_excesses(box, excess_ohm, decade)) for decade in decades]
    rest = max(math.fsum(largest) - zero_expanded_u_ohm, zero_expanded_u_ohm) + abs(zero_left_out_ohm)
    return _SHARE * relative, rest * math.sqrt(_SHARE**2 / (_SHARE**2 - 1.0))


def _excesses(box: DecadeBoxCertificate, excess_ohm: Mapping[int, float], decade: int) -> Iterator[float]:
    """What each position of a dial brings beyond the part that goes with the value. [Ω]"""
    yield 0.0
    for digit in range(1, 10):
        try:
            steps = box.steps_of(digit * decade)
        except ValueError:  # the box cannot make it
            continue
        yield math.fsum(excess_ohm[step] for step in steps)
