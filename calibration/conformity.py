"""From an error, its uncertainty and a limit to a statement of conformity.

Rules after ILAC-G8:09/2019: *simple* acceptance (4.2.1) and the guarded rule with the guard
band equal to the expanded uncertainty (4.2.2, w = U), stated here three ways.
"""

from collections.abc import Iterable
from enum import StrEnum


class Verdict(StrEnum):
    """What the bench may say of an item against its limit."""

    IN_TOLERANCE = "in_tolerance"
    OUT_OF_TOLERANCE = "out_of_tolerance"
    NOT_DECIDED = "not_decided"

    @property
    def words(self) -> str:
        """The verdict as it is said to a person."""
        return self.value.replace("_", " ")


class DecisionRule(StrEnum):
    """How the uncertainty enters the verdict; printed on every result."""

    GUARDED = "guarded"
    SIMPLE = "simple"


def decide(*, error_k: float, expanded_u_k: float, limit_k: float, rule: DecisionRule) -> Verdict:
    """Verdict at one temperature.

    Parameters
    ----------
    error_k : float
        Indicated minus true. [K]
    expanded_u_k : float
        Expanded uncertainty of the error. [K]
    limit_k : float
        Largest permitted magnitude of the error. [K]
    rule : DecisionRule
        ``guarded``: in tolerance where ``|error| + U <= limit``, out where
        ``|error| - U > limit``, otherwise not decided. ``simple``: by ``|error| <= limit`` alone.

    References
    ----------
    ILAC-G8:09/2019, 4.2.1 and 4.2.2.
    """
    if rule is DecisionRule.SIMPLE:
        return Verdict.IN_TOLERANCE if abs(error_k) <= limit_k else Verdict.OUT_OF_TOLERANCE
    if abs(error_k) + expanded_u_k <= limit_k:
        return Verdict.IN_TOLERANCE
    if abs(error_k) - expanded_u_k > limit_k:
        return Verdict.OUT_OF_TOLERANCE
    return Verdict.NOT_DECIDED


def overall_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """Verdict of an item from its points: any out is out; else any not decided is not decided."""
    found = set(verdicts)
    if Verdict.OUT_OF_TOLERANCE in found:
        return Verdict.OUT_OF_TOLERANCE
    if Verdict.NOT_DECIDED in found or not found:
        return Verdict.NOT_DECIDED
    return Verdict.IN_TOLERANCE
