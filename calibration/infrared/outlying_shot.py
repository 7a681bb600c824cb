"""A shot that lies apart from the others: asked about, never dropped."""

import math
import statistics
from collections.abc import Sequence

from scipy import stats

#: Chance of asking about a good set of shots, noise alone.
ASKED_IN_VAIN = 0.05
#: As printed where a shot is asked about.
TEST_WORDS = "Grubbs' test, two-sided at 5 % (ISO 5725-2)"
_FEWEST = 3
#: A display that rounds makes any test speak: nearer to the others nothing is asked. [last digits]
_LAST_DIGITS = 3.0


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


def outlying_shot(readings_c: Sequence[float], *, resolution_k: float) -> int | None:
    """Index of the one shot that lies apart from the others, None where none does.

    Parameters
    ----------
    readings_c : sequence of float, shape (shots,)
        Of one thermometer at one target. [°C]
    resolution_k : float
        Last digit of its display. [K]
    """
    if len(readings_c) < _FEWEST:
        return None
    mean_c = statistics.fmean(readings_c)
    farthest = max(range(len(readings_c)), key=lambda index: abs(readings_c[index] - mean_c))
    others = [reading for index, reading in enumerate(readings_c) if index != farthest]
    if abs(readings_c[farthest] - statistics.fmean(others)) <= _LAST_DIGITS * resolution_k:
        return None
    spread_k = statistics.stdev(readings_c)
    is_apart = abs(readings_c[farthest] - mean_c) > grubbs_critical(len(readings_c)) * spread_k
    return farthest if is_apart else None
