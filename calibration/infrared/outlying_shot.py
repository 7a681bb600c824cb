"""A shot that lies apart from the others: asked about, never dropped.

Of three shots Grubbs' test can speak only where the other two nearly agree, so that a slip of 8 K passes it
nearly four times of ten at a noise of 0.2 K (simulated). A shot is asked about by its plain size too.
"""

import math
import statistics
from collections.abc import Sequence

from scipy import stats

#: Chance of asking about a good set of shots, noise alone.
ASKED_IN_VAIN = 0.05
#: Farther than this from the nearest other a shot is asked about, whatever the others scatter by: few
#: handhelds that were held still do that. Assumed. [K]
APART_BY_SIZE_K = 1.0
#: As printed where a shot is asked about.
TEST_WORDS = (
    f"Grubbs' test, two-sided at 5 % (ISO 5725-2), or by more than {APART_BY_SIZE_K:g} K and three last "
    "digits from the nearest other"
)
_FEWEST = 3
#: A display that rounds makes any test speak: nearer to the others nothing is asked. [last digits]
_LAST_DIGITS = 3.0
#: Three last digits stay three however differences were rounded in the machine. [K]
_SLACK_K = 1e-6


def grubbs_critical(count: int) -> float:
    """Largest distance from the mean, in standard deviations, that noise alone gives 19 times of 20.

    Parameters
    ----------
    count : int
        Readings, the doubtful one included.

    Raises
    ------
    ValueError
        If there are fewer than three.

    References
    ----------
    F. E. Grubbs, Technometrics 11 (1969) 1-21; ISO 5725-2:1994, 7.3.4 and table 5 (upper 5 %).
    """
    if count < _FEWEST:
        raise ValueError("Of fewer than three readings none lies apart.")
    t = float(stats.t.isf(ASKED_IN_VAIN / (2 * count), count - 2))
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (count - 2 + t * t))


def outlying_shot(
    readings_c: Sequence[float], *, resolution_k: float, asks_by_size: bool = True
) -> int | None:
    """Index of the one shot that lies apart from the others, None where none does.

    Parameters
    ----------
    readings_c : sequence of float, shape (shots,)
        Of one thermometer at one target. [°C]
    resolution_k : float
        Last digit of its display. [K]
    asks_by_size : bool
        False for Grubbs' test alone.
    """
    if len(readings_c) < _FEWEST:
        return None
    by_test = _apart_by_test(readings_c, resolution_k)
    return _apart_by_size(readings_c, resolution_k) if by_test is None and asks_by_size else by_test


def _apart_by_size(readings_c: Sequence[float], resolution_k: float) -> int | None:
    def to_nearest_k(index: int) -> float:
        others = (other for at, other in enumerate(readings_c) if at != index)
        return min(abs(readings_c[index] - other) for other in others)

    mean_c = statistics.fmean(readings_c)
    farthest = max(
        range(len(readings_c)), key=lambda index: (to_nearest_k(index), abs(readings_c[index] - mean_c))
    )
    is_apart = to_nearest_k(farthest) > max(APART_BY_SIZE_K, _LAST_DIGITS * resolution_k) + _SLACK_K
    return farthest if is_apart else None


def _apart_by_test(readings_c: Sequence[float], resolution_k: float) -> int | None:
    mean_c = statistics.fmean(readings_c)
    farthest = max(range(len(readings_c)), key=lambda index: abs(readings_c[index] - mean_c))
    others = [reading for index, reading in enumerate(readings_c) if index != farthest]
    if abs(readings_c[farthest] - statistics.fmean(others)) <= _LAST_DIGITS * resolution_k + _SLACK_K:
        return None
    spread_k = statistics.stdev(readings_c)
    is_apart = abs(readings_c[farthest] - mean_c) > grubbs_critical(len(readings_c)) * spread_k
    return farthest if is_apart else None
