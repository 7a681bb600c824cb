"""The verdict of a result that may have no limit."""

from calibration.conformity import DecisionRule, Verdict, decide


def stated_verdict(
    *, error: float, expanded_u: float, limit: float | None, rule: DecisionRule
) -> Verdict | None:
    """Verdict of an error, its U and its limit in one unit, K or Ω; None where there is no limit."""
    if limit is None:
        return None
    # The rule compares three numbers of one unit; ohms do as well as kelvins.
    return decide(error_k=error, expanded_u_k=expanded_u, limit_k=limit, rule=rule)
