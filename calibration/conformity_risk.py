"""How likely a statement of conformity is wrong."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from calibration.conformity import Verdict

FloatArray = npt.NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


def probability_within(
    *,
    error_k: float,
    standard_u_k: float,
    degrees_of_freedom: float,
    limits_k: tuple[float, float],
) -> float:
    """Probability that the true error lies within its limits.

    Parameters
    ----------
    error_k, standard_u_k : float
        Measured error and its combined standard uncertainty. [K]
    degrees_of_freedom : float
        Effective; infinite gives the normal distribution, otherwise Student's t.
    limits_k : tuple[float, float]
        Lowest and highest permitted error. [K]

    References
    ----------
    JCGM 106:2012, clause 7 (conformance probability), with no prior knowledge of the item.
    """
    lowest, highest = ((limit_k - error_k) / standard_u_k for limit_k in limits_k)
    if math.isinf(degrees_of_freedom):
        return float(special.ndtr(highest) - special.ndtr(lowest))
    degrees = max(degrees_of_freedom, 1.0)
    return float(special.stdtr(degrees, highest) - special.stdtr(degrees, lowest))


def probability_wrong(verdict: Verdict, within: float) -> float | None:
    """Probability that a verdict is wrong (specific risk); None where nothing was decided."""
    if verdict is Verdict.NOT_DECIDED:
        return None
    return 1.0 - within if verdict is Verdict.IN_TOLERANCE else within


@dataclass(frozen=True, slots=True, kw_only=True)
class JointRisk:
    """Of all items that come in, the share that is judged wrongly (global risk).

    Attributes
    ----------
    wrong_acceptance : float
        Out of tolerance and accepted.
    wrong_rejection : float
        In tolerance and not accepted.
    """

    wrong_acceptance: float
    wrong_rejection: float


def joint_risk(
    *, item_spread_k: float, standard_u_k: float, limit_k: float, acceptance_k: float
) -> JointRisk:
    """Share of wrong acceptances and rejections where items and measurement are both normal.

    Parameters
    ----------
    item_spread_k : float
        Standard deviation of the items' true errors, centred on zero. [K]
    standard_u_k : float
        Standard uncertainty of the measurement. [K]
    limit_k : float
        Largest permitted magnitude of the error. [K]
    acceptance_k : float
        Largest magnitude that is accepted: the limit less the guard band. [K]

    Raises
    ------
    ValueError
        If a spread or the limit is not above zero, or the acceptance is negative.

    References
    ----------
    JCGM 106:2012, clause 9.5 (global risk), by quadrature of the joint density over the true error.
    """
    if not (item_spread_k > 0.0 and standard_u_k > 0.0 and limit_k > 0.0 and acceptance_k >= 0.0):
        raise ValueError("Joint risk needs spreads and a limit above zero and an acceptance not below it.")

    def accepted(true_k: FloatArray) -> FloatArray:
        density = np.exp(-0.5 * (true_k / item_spread_k) ** 2) / (item_spread_k * math.sqrt(2.0 * math.pi))
        high = special.ndtr((acceptance_k - true_k) / standard_u_k)
        return np.asarray(density * (high - special.ndtr((-acceptance_k - true_k) / standard_u_k)))

    # Both densities are even, so one side counts twice. The integrand bends on the scales of its two
    # spreads, and only there; beyond twelve of the items' spread nothing is left.
    bends_k = [acceptance_k + step * standard_u_k for step in (-8.0, -3.0, 0.0, 3.0, 8.0)]
    bends_k += [step * item_spread_k for step in (1.0, 3.0, 6.0, 12.0)]
    reach_k = max(limit_k, 12.0 * item_spread_k)
    outside = 2.0 * _area(accepted, limit_k, reach_k, bends_k)
    inside = 2.0 * _area(accepted, 0.0, limit_k, bends_k)
    in_tolerance = 2.0 * float(special.ndtr(limit_k / item_spread_k)) - 1.0
    return JointRisk(wrong_acceptance=outside, wrong_rejection=max(in_tolerance - inside, 0.0))


def _area(
    curve: Callable[[FloatArray], FloatArray], low: float, high: float, bends: Sequence[float]
) -> float:
    """Gauss-Legendre, stretch by stretch between the bends."""
    ends = sorted({low, high, *(bend for bend in bends if low < bend < high)})
    return sum(
        0.5 * (end - start) * float(_WEIGHTS @ curve(0.5 * (end - start) * _NODES + 0.5 * (start + end)))
        for start, end in pairwise(ends)
    )


def spread_of_items(*, limit_k: float, share_in_tolerance: float) -> float:
    """Standard deviation of true errors, centred on zero, of which a share is in tolerance. [K]

    Parameters
    ----------
    limit_k : float
        [K]
    share_in_tolerance : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If it is no such share.
    """
    if not 0.0 < share_in_tolerance < 1.0:
        raise ValueError("The share of items in tolerance lies between 0 and 1.")
    return float(limit_k / stats.norm.ppf(0.5 + share_in_tolerance / 2.0))
