"""From an error, its uncertainty and a limit to a statement of conformity.

Rules after ILAC-G8:09/2019: *simple* acceptance (4.2.1) and the guarded rule with the guard
band equal to the expanded uncertainty (4.2.2, w = U), stated here three ways; the guard band may
be another share of U, and the statement may be made in four words (4.2.3).
"""

import math
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


class FourWayStatement(StrEnum):
    """What may be said where near either side of a limit still deserves a word (ILAC-G8, 4.2.3)."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional_pass"
    CONDITIONAL_FAIL = "conditional_fail"
    FAIL = "fail"

    @property
    def words(self) -> str:
        """The statement as it is said to a person."""
        return self.value.replace("_", " ")


class DecisionRule(StrEnum):
    """How the uncertainty enters the verdict; printed on every result."""

    GUARDED = "guarded"
    SIMPLE = "simple"


#: Guard bands as shares of U that have a name.
FULL_GUARD_BAND = 1.0
ISO_14253_1_GUARD_BAND = 0.83


def decide(
    *,
    error_k: float,
    expanded_u_k: float,
    limit_k: float,
    rule: DecisionRule,
    guard_band_share: float = FULL_GUARD_BAND,
) -> Verdict:
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
    guard_band_share : float
        Guard band w over U: 1 (w = U), 0.83 (ISO 14253-1), 1.5, 3 … A negative share is the rule that
        rejects only what is clearly out: in tolerance where ``|error| <= limit + |w|``, else out.

    References
    ----------
    ILAC-G8:09/2019, 4.2.1 and 4.2.2.
    """
    guard_band_k = guard_band_share * expanded_u_k
    if rule is DecisionRule.SIMPLE:
        return Verdict.IN_TOLERANCE if abs(error_k) <= limit_k else Verdict.OUT_OF_TOLERANCE
    if abs(error_k) + guard_band_k <= limit_k:
        return Verdict.IN_TOLERANCE
    if guard_band_k < 0.0 or abs(error_k) - guard_band_k > limit_k:
        return Verdict.OUT_OF_TOLERANCE
    return Verdict.NOT_DECIDED


def state_four_ways(
    *, error_k: float, expanded_u_k: float, limit_k: float, guard_band_share: float = FULL_GUARD_BAND
) -> FourWayStatement:
    """Statement at one temperature in four words.

    Parameters
    ----------
    error_k, expanded_u_k, limit_k : float
        As for `decide`. [K]
    guard_band_share : float
        Guard band w over U, not negative.

    Raises
    ------
    ValueError
        If the guard band is negative.

    References
    ----------
    ILAC-G8:09/2019, 4.2.3: pass up to limit - w, conditional pass up to the limit, conditional fail up to
    limit + w, fail beyond.
    """
    if guard_band_share < 0.0:
        raise ValueError("Four words need a guard band that is not negative.")
    guard_band_k = guard_band_share * expanded_u_k
    if abs(error_k) <= limit_k:
        clear = abs(error_k) + guard_band_k <= limit_k
        return FourWayStatement.PASS if clear else FourWayStatement.CONDITIONAL_PASS
    clear = abs(error_k) - guard_band_k > limit_k
    return FourWayStatement.FAIL if clear else FourWayStatement.CONDITIONAL_FAIL


def rds_guard_band_share(*, expanded_u_k: float, limit_k: float) -> float:
    """Guard band over U by the root difference of squares: accepted up to ``√(limit² - U²)``.

    Parameters
    ----------
    expanded_u_k, limit_k : float
        [K]

    Raises
    ------
    ValueError
        If U is zero or above the limit: then nothing could be accepted.
    """
    if not 0.0 < expanded_u_k <= limit_k:
        raise ValueError(
            f"The root difference of squares needs U above zero and up to the limit of {limit_k:g} K; "
            f"U is {expanded_u_k:g} K. Measure better, or take another rule."
        )
    return (limit_k - math.sqrt(limit_k**2 - expanded_u_k**2)) / expanded_u_k


def overall_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """Verdict of an item from its points: any out is out; else any not decided is not decided."""
    found = set(verdicts)
    if Verdict.OUT_OF_TOLERANCE in found:
        return Verdict.OUT_OF_TOLERANCE
    if Verdict.NOT_DECIDED in found or not found:
        return Verdict.NOT_DECIDED
    return Verdict.IN_TOLERANCE
