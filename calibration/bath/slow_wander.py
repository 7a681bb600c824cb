"""How far the mean of a short series may be from that of the bath, whatever the bath's memory is.

A plateau's readings are noise over a wander of the water that remembers itself for seconds or for minutes.
From a window of a minute a memory of half a minute cannot be told from one of five, and the mean hangs on
which it is. So no memory is picked: every one from under a reading up to twice the window is weighed by the
restricted likelihood of the series [1]_, together with every share that the wander may have in the scatter,
and the mean's distribution is the mixture of what each of them says [2]_.

Assumed beforehand: logarithms of the memory are alike, shares of the wander are alike, and one time in ten
there is no wander at all. Wander that remembers for longer than `LONGEST_MEMORY_IN_SERIES` series hardly
moves within one, and a series says nothing of it: it needs a line of its own in the budget, as the gradient
has.

References
----------
.. [1] H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545-554; the recursion is the filter of
   R. E. Kalman, Journal of Basic Engineering 82 (1960) 35-45 (both from memory).
.. [2] Averaging over models instead of choosing one: J. A. Hoeting and others, Statistical Science 14 (1999)
   382-417 (from memory).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

#: Shortest memory that is told from noise, and the longest that is looked for, and the factor from one to the
#: next, at most. [readings], [series], [1]
SHORTEST_MEMORY_READINGS = 0.7
LONGEST_MEMORY_IN_SERIES = 2.0
_MEMORY_STEP = 1.6

#: Variance of the wander over that of a reading. [1]
_SHARES = (0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)

#: Probability, beforehand, that there is noise alone. [1]
_NOISE_ALONE = 0.1

#: A wander that remembers for longer than this is slow: the series holds too little of it. [series]
SLOW_IN_SERIES = 1.0 / 3.0

_BISECTIONS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WanderWeights:
    """What m series of n readings say of g kinds of wander.

    Attributes
    ----------
    probability : ndarray, shape (g, m)
        Of each kind, given each series. [1]
    u_mean : ndarray, shape (g, m)
        Standard deviation of the plain mean about the bath's, if the wander is of that kind. [unit of series]
    memory_readings, share : ndarray, shape (g,)
        Of each kind. [readings], [1]
    """

    probability: Matrix
    u_mean: Matrix
    memory_readings: Vector
    share: Vector

    def slow_probability(self, readings: int) -> Vector:
        """Probability that a series of so many readings is too short for its wander; shape (m,)."""
        slow = (self.share > 0.0) & (self.memory_readings > SLOW_IN_SERIES * readings)
        total: Vector = self.probability[slow].sum(axis=0)
        return total

    def half_width(self, probability: float) -> Vector:
        """Half-width of the interval about each mean that holds the bath's so often; shape (m,)."""
        low = np.zeros(self.u_mean.shape[1])
        high = 8.0 * self.u_mean.max(axis=0)
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            held = np.sum(self.probability * (2.0 * ndtr(middle / self.u_mean) - 1.0), axis=0)
            low, high = np.where(held < probability, middle, low), np.where(held < probability, high, middle)
        found: Vector = high
        return found


def weigh_wander(series: Matrix) -> WanderWeights:
    """Weigh every kind of wander by equally long series.

    Parameters
    ----------
    series : ndarray, shape (m, n)
        Equally spaced readings in order; none of the series may be constant.
    """
    readings = series.shape[1]
    kinds = _kinds(readings)
    centred = series - series.mean(axis=1, keepdims=True)
    log_determinant, of_ones, products, squares = _filtered(centred, kinds)
    left = squares - products**2 / of_ones[:, np.newaxis]
    log_likelihood = (
        kinds.log_prior[:, np.newaxis]
        - 0.5 * (log_determinant + np.log(of_ones))[:, np.newaxis]
        - 0.5 * (readings - 1) * np.log(left)
    )
    probability = np.exp(log_likelihood - log_likelihood.max(axis=0))
    probability /= probability.sum(axis=0)
    return WanderWeights(
        probability=probability,
        u_mean=np.sqrt(left / (readings - 1) * kinds.mean_variance[:, np.newaxis]),
        memory_readings=kinds.memory_readings,
        share=kinds.share,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Kinds:
    """Kinds of wander; all of shape (g,). The last is noise alone."""

    memory_readings: Vector
    share: Vector
    kept: Vector
    log_prior: Vector
    mean_variance: Vector  # of the mean of n readings, over that of one reading


@lru_cache(maxsize=16)
def _kinds(readings: int) -> _Kinds:
    longest = LONGEST_MEMORY_IN_SERIES * readings
    steps = math.ceil(math.log(longest / SHORTEST_MEMORY_READINGS, _MEMORY_STEP))
    memories = np.geomspace(SHORTEST_MEMORY_READINGS, longest, steps + 1)
    memory, share = (grid.ravel() for grid in np.meshgrid(memories, _SHARES, indexing="ij"))
    prior = np.append(np.full(memory.size, (1.0 - _NOISE_ALONE) / memory.size), _NOISE_ALONE)
    memory, share = np.append(memory, SHORTEST_MEMORY_READINGS), np.append(share, 0.0)
    kept = np.exp(-1.0 / memory)
    # Sum of kept^|i - j| over all pairs of readings, over n².
    of_wander = (readings * (1.0 - kept**2) - 2.0 * kept * (1.0 - kept**readings)) / (
        readings * (1.0 - kept)
    ) ** 2
    return _Kinds(
        memory_readings=memory,
        share=share,
        kept=kept,
        log_prior=np.log(prior),
        mean_variance=share * of_wander + (1.0 - share) / readings,
    )


def _filtered(centred: Matrix, kinds: _Kinds) -> tuple[Vector, Vector, Matrix, Matrix]:
    """log|C|, 1'C⁻¹1, 1'C⁻¹y and y'C⁻¹y for each kind's covariance C of readings of unit variance.

    The series and a constant go through one filter; what it cannot foretell is white.
    """
    share, kept = kinds.share, kinds.kept
    columns = np.concatenate([centred.T, np.ones((centred.shape[1], 1))], axis=1)
    foretold = np.zeros((share.size, columns.shape[1]))
    variance = share.copy()
    log_determinant, of_ones = np.zeros(share.size), np.zeros(share.size)
    products, squares = np.zeros((2, share.size, centred.shape[0]))
    for reading in columns:
        innovation_variance = variance + 1.0 - share
        innovation = reading - foretold
        weighed = innovation / innovation_variance[:, np.newaxis]
        log_determinant += np.log(innovation_variance)
        of_ones += innovation[:, -1] * weighed[:, -1]
        products += innovation[:, -1:] * weighed[:, :-1]
        squares += innovation[:, :-1] * weighed[:, :-1]
        foretold = kept[:, np.newaxis] * (foretold + variance[:, np.newaxis] * weighed)
        remaining = variance * (1.0 - share) / innovation_variance
        variance = kept**2 * remaining + (1.0 - kept**2) * share
    return log_determinant, of_ones, products, squares
