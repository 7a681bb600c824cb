"""A diagnosis: explanations with their probabilities, and what may be said of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.diagnosis.fault import Fault, action_between

#: An explanation is named from this probability on.
NAMED_FROM = 0.9
#: Before one of these is blamed, that stem or thermometer are the reason must be this improbable: all three
#: look much like a temperature that was wrong. Chosen on simulated senders (`attribution` benchmark, another
#: seed than the stated one): a probe 1.5 K off or a stem of 1.3 % gets another name in under 2 %, at no more
#: cost in right names than that needs.
OWN_ERROR_AT_MOST: Mapping[Fault, float] = {Fault.R25: 0.01, Fault.BETA: 0.025, Fault.LEAKAGE: 0.06}
#: By hand a thermometer's error is part of what the points are stated to be wrong by.
OWN_ERROR_AT_MOST_BY_HAND: Mapping[Fault, float] = {Fault.R25: 0.03, Fault.BETA: 0.03}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One explanation as it is reported.

    Attributes
    ----------
    fault : Fault
    weight : float
        All weights of a diagnosis sum to one.
    probability : float
        By Bayes' rule, before "cannot tell" took its share; 0 for "cannot tell" itself.
    size, size_u : float or None
        Of the fault and its standard uncertainty, if it is this fault; None where it has no size. [unit]
    unit : str
        Empty where there is no size.
    variant : str
        Which way the fault acts, or the name of the other curve; may be empty.
    next_action : str
        What would confirm it, for the person at the bench.
    """

    fault: Fault
    weight: float
    probability: float
    size: float | None
    size_u: float | None
    unit: str
    variant: str
    next_action: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """All explanations of some points, the heaviest first.

    Attributes
    ----------
    findings : tuple[Finding, ...]
    by_hand : bool
        Whether the points were read by hand.
    """

    findings: tuple[Finding, ...]
    by_hand: bool

    @property
    def answer(self) -> Finding:
        """What is said: the explanation that is named, or "cannot tell"."""
        return self.findings[0]

    @property
    def names_a_fault(self) -> bool:
        """Whether something other than a good sender is named."""
        return self.answer.fault not in {Fault.HEALTHY, Fault.CANNOT_TELL}

    @property
    def likeliest(self) -> Finding:
        """The explanation of the highest probability, named or not."""
        return max(self.findings, key=lambda finding: finding.probability)

    def weight_of(self, fault: Fault) -> float:
        """Weight of a fault; 0 where it is not among the findings."""
        return sum(finding.weight for finding in self.findings if finding.fault is fault)


def diagnosis_of(explanations: Sequence[Finding], *, by_hand: bool) -> Diagnosis:
    """Diagnosis from explanations with their probabilities: "cannot tell" takes its share of the weight.

    Parameters
    ----------
    explanations : sequence of Finding
        Without "cannot tell"; their probabilities sum to one, their weights are worked out here.
    by_hand : bool
        Whether the points were read by hand.
    """
    doubt = weight_of_doubt(
        {finding.fault: finding.probability for finding in explanations},
        own_error_at_most=OWN_ERROR_AT_MOST_BY_HAND if by_hand else OWN_ERROR_AT_MOST,
    )
    findings = [replace(finding, weight=(1.0 - doubt) * finding.probability) for finding in explanations]
    if doubt > 0.0:
        findings.append(
            Finding(
                fault=Fault.CANNOT_TELL, weight=doubt, probability=0.0, size=None, size_u=None, unit="",
                variant="", next_action=_deciding_action(findings),
            )
        )  # fmt: skip
    return Diagnosis(findings=tuple(sorted(findings, key=lambda finding: -finding.weight)), by_hand=by_hand)


def weight_of_doubt(
    probabilities: Mapping[Fault, float], *, own_error_at_most: Mapping[Fault, float] = OWN_ERROR_AT_MOST
) -> float:
    """Weight of "cannot tell".

    It answers two questions, and the larger doubt counts. How probable is it that the likeliest explanation
    is wrong, where at most ``1 - NAMED_FROM`` is allowed? And, where that is a shifted element or a leakage:
    how probable is it that its temperature was wrong instead? A doubt within what is allowed weighs nothing.
    Above, it weighs ``doubt / (doubt + allowed)``: a half at the border and growing, so that "cannot tell"
    leads whenever nothing is named.

    Parameters
    ----------
    probabilities : mapping
        Of all explanations; they sum to one.
    own_error_at_most : mapping
        What is allowed of the second doubt, by the fault that would be named.
    """
    nameable = {fault: p for fault, p in probabilities.items() if fault is not Fault.NONE_OF_THESE}
    likeliest = max(nameable, key=lambda fault: nameable[fault])
    doubts = [_doubt(1.0 - nameable[likeliest], 1.0 - NAMED_FROM)]
    if likeliest in own_error_at_most:
        own_error = nameable.get(Fault.STEM_OR_THERMOMETER, 0.0)
        doubts.append(_doubt(own_error, own_error_at_most[likeliest]))
    return max(doubts)


def _doubt(probability: float, allowed: float) -> float:
    # What is allowed is allowed to the last digit.
    return 0.0 if probability <= allowed + 1e-12 else probability / (probability + allowed)


def _deciding_action(findings: Sequence[Finding]) -> str:
    """What would decide between the two likeliest."""
    first, *others = sorted(findings, key=lambda finding: -finding.probability)
    if first.fault is Fault.NONE_OF_THESE:
        return first.next_action
    return action_between(first.fault, *(finding.fault for finding in others[:1]))
