"""How likely a statement of conformity is wrong."""

import math

from scipy import stats

from calibration.conformity import Verdict


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
    spread = stats.norm if math.isinf(degrees_of_freedom) else stats.t(max(degrees_of_freedom, 1.0))
    return float(spread.cdf(highest) - spread.cdf(lowest))


def probability_wrong(verdict: Verdict, within: float) -> float | None:
    """Probability that a verdict is wrong (specific risk); None where nothing was decided."""
    if verdict is Verdict.NOT_DECIDED:
        return None
    return 1.0 - within if verdict is Verdict.IN_TOLERANCE else within
