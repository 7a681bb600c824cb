"""The risk that a statement of conformity carries: how likely it is wrong."""

import math
from collections.abc import Sequence
from typing import Any

from calibration.conformity_risk import probability_within, probability_wrong

#: Under this a probability is not worth more digits.
_SMALLEST_SHOWN = 0.0005


def probability_wrong_of(point: Any) -> float | None:
    """Probability that the verdict of a point is wrong; None where it states nothing.

    The true error is taken as spread about the measured one with the budget's standard uncertainty and
    degrees of freedom, with no knowledge of the item beforehand (JCGM 106:2012, clause 7).
    """
    unit = "ohm" if hasattr(point, "error_ohm") else "k"
    limit = getattr(point, f"limit_{unit}")
    if limit is None or point.verdict is None:
        return None
    error = getattr(point, f"error_{unit}")
    within = probability_within(
        error_k=error,
        standard_u_k=getattr(point, f"expanded_u_{unit}") / point.k,
        degrees_of_freedom=point.budget.degrees_of_freedom,
        limits_k=_limits(point, error, limit),
    )
    return probability_wrong(point.verdict, within)


def probability_text(wrong: float) -> str:
    """A probability in per cent, as printed."""
    if wrong < _SMALLEST_SHOWN:
        return "< 0.1 %"
    percent = 100.0 * wrong
    return f"{percent:.0f} %" if percent >= 10.0 else f"{percent:.1f} %"


def _limits(point: Any, error: float, limit: float) -> tuple[float, float]:
    limits = getattr(point, "limits_k", None)
    if limits is not None:
        return limits[0], limits[1]
    if hasattr(point, "limits_k"):
        # Only the limit on the side of the error is known.
        return (-math.inf, limit) if error >= 0.0 else (-limit, math.inf)
    return -limit, limit


def wrong_statements(points: Sequence[Any], where: Sequence[str]) -> tuple[tuple[str, str, float], ...]:
    """Where, how likely the statement there is wrong as printed, and in full; only where one is made."""
    found = ((place, probability_wrong_of(point)) for place, point in zip(where, points, strict=True))
    return tuple((place, probability_text(wrong), wrong) for place, wrong in found if wrong is not None)
