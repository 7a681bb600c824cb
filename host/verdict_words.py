"""Verdicts and rules as they are said to a customer."""

from collections.abc import Sequence
from typing import Protocol

from calibration.conformity import DecisionRule, Verdict, overall_verdict
from calibration.rounding import limit_text

RULE_WORDS = {
    DecisionRule.GUARDED: (
        "Guarded (ILAC-G8:09/2019, guard band w = U): in tolerance where error and expanded uncertainty "
        "together stay within the limit, out of tolerance where the error is beyond the limit by more than "
        "the expanded uncertainty, otherwise not decided."
    ),
    DecisionRule.SIMPLE: (
        "Simple acceptance (ILAC-G8:09/2019): in tolerance where the error is within the limit, whatever "
        "the uncertainty; near the limit the chance of being wrong comes up to 50 %."
    ),
}


class JudgedPoint(Protocol):
    """What a sentence needs of a point."""

    @property
    def temperature_c(self) -> float:
        """True temperature. [°C]"""
        ...

    @property
    def indicated_c(self) -> float:
        """What the sender makes a computer show. [°C]"""
        ...

    @property
    def error_k(self) -> float:
        """Indicated minus true. [K]"""
        ...

    @property
    def expanded_u_k(self) -> float:
        """Expanded uncertainty of the error. [K]"""
        ...

    @property
    def limit_k(self) -> float:
        """Largest permitted magnitude of the error. [K]"""
        ...

    @property
    def verdict(self) -> Verdict:
        """Of this point."""
        ...


def sentence_of(points: Sequence[JudgedPoint]) -> str:
    """One sentence on a whole check, resting on the point that decides it."""
    verdict = overall_verdict(point.verdict for point in points)
    telling = [point for point in points if point.verdict is verdict]
    if verdict is Verdict.NOT_DECIDED:
        point = max(telling, key=_reach)
        return (
            f"At {point.temperature_c:.4g} °C the sender shows {point.indicated_c:.1f} °C; the limit of "
            f"{_limit(point)} K lies inside the uncertainty of {point.expanded_u_k:.1f} K."
        )
    worst = max(telling, key=lambda point: abs(point.error_k) / point.limit_k)
    if verdict is Verdict.IN_TOLERANCE:
        if len(points) == 1:
            return "The sender is within its limits at the one temperature that was checked."
        return f"The sender is within its limits at all {len(points)} temperatures that were checked."
    side = "high" if worst.error_k > 0.0 else "low"
    return (
        f"At {worst.temperature_c:.4g} °C the sender shows {worst.indicated_c:.1f} °C, "
        f"{abs(worst.error_k):.1f} K too {side}; the limit there is {_limit(worst)} K."
    )


def _limit(point: JudgedPoint) -> str:
    return limit_text(point.limit_k, stated_places=1, derived_places=1)


def _reach(point: JudgedPoint) -> float:
    return (abs(point.error_k) + point.expanded_u_k) / point.limit_k
