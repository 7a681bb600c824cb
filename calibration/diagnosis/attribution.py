"""Why a sender is off: explanations weighed against each other by what they predicted (Bayes' rule).

Every explanation has a prior probability and the likelihood of the points under it; their product, made to
sum to one, is its probability. None is named below `NAMED_FROM`, and the element is not blamed while the
temperature may have been wrong instead: then the answer is "cannot tell".
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.curve_view import CurveView, coincide, view_of
from calibration.diagnosis.evidence import (
    SizedEvidence,
    branch_evidence,
    healthy_log_evidence,
    log_normal_density,
)
from calibration.diagnosis.fault import Fault, action_between
from calibration.diagnosis.fault_shapes import USUAL_AIR_C, branches_of
from calibration.diagnosis.measured_points import MeasuredPoints
from calibration.errors import CurveRangeError

#: An explanation is named from this probability on.
NAMED_FROM = 0.9
#: Before the element is blamed, that stem or thermometer are the reason must be this improbable: both look
#: much like a shifted element, and a bench that has not ruled out its own error says nothing of others.
OWN_ERROR_AT_MOST = 0.03
_BLAMES_THE_ELEMENT = frozenset({Fault.R25, Fault.BETA})

#: Prior probabilities: a sender is as likely good as not, and the faults with a size share what is left
#: equally. Stated, not measured: no statistics of removed senders is at hand.
PRIORS: Mapping[Fault, float] = {
    Fault.HEALTHY: 0.50,
    Fault.R25: 0.08,
    Fault.BETA: 0.08,
    Fault.SERIES: 0.08,
    Fault.LEAKAGE: 0.08,
    Fault.ANOTHER_CURVE: 0.08,
    Fault.STEM_OR_THERMOMETER: 0.08,
    Fault.OPEN: 0.005,
    Fault.SHORT: 0.005,
    Fault.NONE_OF_THESE: 0.01,
}

# An open or a short circuit leaves any resistance within these, all orders of magnitude alike. [Ω]
_OPEN_OHM = (2e5, 1e12)
_SHORT_OHM = (1e-3, 10.0)
# A thermistor of no curve in the library: spread of ln R25 and of beta about the reference curve's; and
# points that follow no thermistor at all.
_UNKNOWN_LOG_R25, _UNKNOWN_BETA = 1.0, 0.25
_UNKNOWN_POINT = 0.3


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

    def weight_of(self, fault: Fault) -> float:
        """Weight of a fault; 0 where it is not among the findings."""
        return sum(finding.weight for finding in self.findings if finding.fault is fault)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Explained:
    """One explanation while they are compared."""

    fault: Fault
    log_evidence: float
    size: float | None = None
    size_u: float | None = None
    unit: str = ""
    variant: str = ""


def attribute(
    points: MeasuredPoints,
    curve: ReferenceCurve,
    *,
    library: Sequence[ReferenceCurve] = (),
    air_c: float = USUAL_AIR_C,
    priors: Mapping[Fault, float] = PRIORS,
) -> Diagnosis:
    """Weigh the explanations of a sender's points.

    Parameters
    ----------
    points : MeasuredPoints
        With the covariance between them.
    curve : ReferenceCurve
        The one the sender is meant to follow.
    library : sequence of ReferenceCurve
        Curves a wrong part might follow. Those that do not judge at all of the temperatures, or that coincide
        with ``curve`` within tolerance there, are left out.
    air_c : float
        Air beside the bath. [°C]
    priors : mapping
        Prior probabilities; they need not sum to one. A fault that is not in it is not considered.

    Raises
    ------
    CurveRangeError
        If ``curve`` cannot judge at one of the temperatures.

    References
    ----------
    E. T. Jaynes, Probability Theory: The Logic of Science (2003), chapters 4 and 20: comparison of
    hypotheses and of models with a free size.
    """
    view = view_of(curve, points.temperature_c)
    explained = [_explained(fault, points, view, library, air_c) for fault in priors]
    found = [explanation for explanation in explained if explanation is not None]
    probabilities = posterior(
        [explanation.log_evidence for explanation in found],
        [priors[explanation.fault] for explanation in found],
    )
    return Diagnosis(findings=_findings(found, probabilities), by_hand=points.by_hand)


def posterior(log_evidence: Sequence[float], prior: Sequence[float]) -> tuple[float, ...]:
    """Probabilities by Bayes' rule.

    Parameters
    ----------
    log_evidence : sequence of float
        Natural logarithm of what each explanation gave to the points, before they were seen.
    prior : sequence of float
        Not necessarily normalised.

    Raises
    ------
    ValueError
        If no explanation allows the points.
    """
    log_joint = np.asarray(log_evidence, dtype=float) + np.log(np.asarray(prior, dtype=float))
    top = float(np.max(log_joint))
    if not math.isfinite(top):
        raise ValueError("No explanation allows these points. Look for a mistyped one.")
    joint = np.exp(log_joint - top)
    return tuple((joint / np.sum(joint)).tolist())


def weight_of_doubt(probabilities: Mapping[Fault, float]) -> float:
    """Weight of "cannot tell".

    It answers two questions, and the larger doubt counts. How probable is it that the likeliest explanation
    is wrong, where at most ``1 - NAMED_FROM`` is allowed? And, where the element is blamed: how probable is
    it that its temperature was wrong, where at most `OWN_ERROR_AT_MOST` is allowed? A doubt within what is
    allowed weighs nothing. Above, it weighs ``doubt / (doubt + allowed)``: a half at the border and growing,
    so that "cannot tell" leads whenever nothing is named.

    Parameters
    ----------
    probabilities : mapping
        Of all explanations; they sum to one.
    """
    nameable = {fault: p for fault, p in probabilities.items() if fault is not Fault.NONE_OF_THESE}
    likeliest = max(nameable, key=lambda fault: nameable[fault])
    doubts = [_doubt(1.0 - nameable[likeliest], 1.0 - NAMED_FROM)]
    if likeliest in _BLAMES_THE_ELEMENT:
        doubts.append(_doubt(nameable.get(Fault.STEM_OR_THERMOMETER, 0.0), OWN_ERROR_AT_MOST))
    return max(doubts)


def _doubt(probability: float, allowed: float) -> float:
    # What is allowed is allowed to the last digit.
    return 0.0 if probability <= allowed + 1e-12 else probability / (probability + allowed)


def _explained(
    fault: Fault, points: MeasuredPoints, view: CurveView, library: Sequence[ReferenceCurve], air_c: float
) -> _Explained | None:
    if fault is Fault.HEALTHY:
        return _Explained(fault=fault, log_evidence=healthy_log_evidence(points, view))
    if fault is Fault.ANOTHER_CURVE:
        return _another_curve(points, view, library)
    if fault is Fault.OPEN:
        return _Explained(fault=fault, log_evidence=_within_log_evidence(points, _OPEN_OHM))
    if fault is Fault.SHORT:
        return _Explained(fault=fault, log_evidence=_within_log_evidence(points, _SHORT_OHM))
    if fault is Fault.NONE_OF_THESE:
        return _Explained(fault=fault, log_evidence=_unknown_log_evidence(points, view))
    evidences = [branch_evidence(points, view, branch) for branch in branches_of(fault, air_c)]
    return _of_a_size(fault, [evidence for evidence in evidences if evidence is not None])


def _of_a_size(fault: Fault, evidences: Sequence[SizedEvidence]) -> _Explained | None:
    if not evidences:
        return None
    best = max(evidences, key=lambda evidence: evidence.log_integral)
    total = best.log_integral + math.log(
        math.fsum(math.exp(evidence.log_integral - best.log_integral) for evidence in evidences)
    )
    branch = best.branch
    size = branch.reported(best.size)
    # A leakage is computed as a conductance: the relative uncertainty is what carries over.
    relative = abs(best.size_u / best.size)
    return _Explained(
        fault=fault,
        log_evidence=total - math.log(math.fsum(evidence.prior_mass for evidence in evidences)),
        size=size,
        size_u=abs(size) * relative,
        unit=branch.unit,
        variant=branch.variant,
    )


def _another_curve(
    points: MeasuredPoints, view: CurveView, library: Sequence[ReferenceCurve]
) -> _Explained | None:
    others = []
    for curve in library:
        if curve.name == view.curve.name:
            continue
        try:
            other = view_of(curve, points.temperature_c)
        except CurveRangeError:
            continue
        if not coincide(view, other):
            others.append((healthy_log_evidence(points, other), curve.name))
    if not others:
        return None
    top, name = max(others)
    if not math.isfinite(top):
        return None
    total = math.fsum(math.exp(evidence - top) for evidence, _ in others)
    return _Explained(
        fault=Fault.ANOTHER_CURVE, log_evidence=top + math.log(total / len(others)), variant=name
    )


def _within_log_evidence(points: MeasuredPoints, limits_ohm: tuple[float, float]) -> float:
    """Evidence of resistances that follow nothing, each anywhere within limits on a logarithmic scale."""
    low, high = limits_ohm
    beyond_any_meter = np.minimum(points.resistance_ohm, _OPEN_OHM[1])
    if not np.all((low <= beyond_any_meter) & (beyond_any_meter <= high)):
        return -math.inf
    return -points.count * math.log(math.log(high / low))


def _unknown_log_evidence(points: MeasuredPoints, view: CurveView) -> float:
    """Evidence of what is not listed: a thermistor of another curve, or points that follow none."""
    residual = np.log(points.resistance_ohm / view.resistance_ohm)
    if not np.all(np.isfinite(residual)):
        return -math.inf
    known = view.covariance(points)
    wide = np.diag([_UNKNOWN_LOG_R25**2, _UNKNOWN_BETA**2])
    thermistor = known + view.part_shapes @ wide @ view.part_shapes.T
    scattered = known + _UNKNOWN_POINT**2 * np.eye(points.count)
    both = log_normal_density(np.stack([residual, residual]), np.stack([thermistor, scattered]))
    return float(np.logaddexp(both[0], both[1]) - math.log(2.0))


def _deciding_action(findings: Sequence[Finding]) -> str:
    """What would decide between the two likeliest."""
    likely = sorted(findings, key=lambda finding: -finding.probability)
    return action_between(*(finding.fault for finding in likely[:2]))


def _findings(found: Sequence[_Explained], probabilities: Sequence[float]) -> tuple[Finding, ...]:
    doubt = weight_of_doubt(
        {explanation.fault: p for explanation, p in zip(found, probabilities, strict=True)}
    )
    findings = [
        Finding(
            fault=explanation.fault,
            weight=(1.0 - doubt) * probability,
            probability=probability,
            size=explanation.size,
            size_u=explanation.size_u,
            unit=explanation.unit,
            variant=explanation.variant,
            next_action=explanation.fault.next_action,
        )
        for explanation, probability in zip(found, probabilities, strict=True)
    ]
    if doubt > 0.0:
        findings.append(
            Finding(
                fault=Fault.CANNOT_TELL, weight=doubt, probability=0.0, size=None, size_u=None, unit="",
                variant="", next_action=_deciding_action(findings),
            )
        )  # fmt: skip
    return tuple(sorted(findings, key=lambda finding: -finding.weight))
