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
from calibration.diagnosis.circuit_evidence import (
    dead_log_evidence,
    intermittent_log_evidence,
    slips_log_evidence,
    unlisted_evidence,
)
from calibration.diagnosis.curve_view import CurveView, coincide, view_of
from calibration.diagnosis.dead_circuit import DeadCircuit
from calibration.diagnosis.diagnosis import Diagnosis, Finding, diagnosis_of
from calibration.diagnosis.evidence import SizedEvidence, branch_evidence, healthy_log_evidence
from calibration.diagnosis.fault import OPEN_WHEN_COLD, SCATTERED, UNLISTED_PART, Fault
from calibration.diagnosis.fault_shapes import USUAL_AIR_C, branches_of
from calibration.diagnosis.measured_points import MeasuredPoints
from calibration.errors import CurveRangeError

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
    Fault.INTERMITTENT: 0.005,
    Fault.NONE_OF_THESE: 0.01,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Explained:
    """One explanation while they are compared."""

    fault: Fault
    log_evidence: float
    size: float | None = None
    size_u: float | None = None
    unit: str = ""
    variant: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Points while they are explained: all of them, and those at which the circuit conducted."""

    points: MeasuredPoints
    curve: ReferenceCurve
    live: MeasuredPoints | None
    view: CurveView | None

    @property
    def some_are_dead(self) -> bool:
        return self.live is None or self.live.count < self.points.count

    @property
    def is_open_when_cold(self) -> bool:
        """Whether a meter on too low a range would have shown the same: by hand, and open when cold alone."""
        is_open = np.isinf(self.points.resistance_ohm)
        if self.live is None or not self.points.by_hand or not np.any(is_open):
            return False
        return bool(np.max(self.points.temperature_c[is_open]) < np.min(self.live.temperature_c))


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
        With the covariance between them. Those at which the circuit was open (infinite ohms) or short (zero)
        count: a sender with any other fault conducts.
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
        If ``curve`` cannot judge at one of the temperatures at which the sender conducted.

    References
    ----------
    E. T. Jaynes, Probability Theory: The Logic of Science (2003), chapters 4 and 20: comparison of
    hypotheses and of models with a free size.
    """
    live = points.only(np.flatnonzero(points.conducts).tolist()) if np.any(points.conducts) else None
    seen = _Seen(
        points=points,
        curve=curve,
        live=live,
        view=None if live is None else view_of(curve, live.temperature_c),
    )
    explained = [_explained(fault, seen, library, air_c) for fault in priors]
    found = [explanation for explanation in explained if explanation is not None]
    probabilities = posterior(
        [explanation.log_evidence for explanation in found],
        [priors[explanation.fault] for explanation in found],
    )
    return diagnosis_of(
        [_finding(one, probability) for one, probability in zip(found, probabilities, strict=True)],
        by_hand=points.by_hand,
    )


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


def _explained(
    fault: Fault, seen: _Seen, library: Sequence[ReferenceCurve], air_c: float
) -> _Explained | None:
    if fault in {Fault.OPEN, Fault.SHORT}:
        circuit = DeadCircuit.OPEN if fault is Fault.OPEN else DeadCircuit.SHORT
        return _possible(fault, dead_log_evidence(seen.points, circuit))
    if fault is Fault.INTERMITTENT:
        evidence = intermittent_log_evidence(seen.points, seen.curve)
        return _possible(fault, evidence, OPEN_WHEN_COLD if seen.is_open_when_cold else "")
    if fault is Fault.NONE_OF_THESE:
        return _none_of_these(seen)
    if seen.live is None or seen.view is None or seen.some_are_dead:
        # A sender with any other fault conducts.
        return None
    points, view = seen.live, seen.view
    if fault is Fault.HEALTHY:
        return _Explained(fault=fault, log_evidence=healthy_log_evidence(points, view))
    if fault is Fault.ANOTHER_CURVE:
        return _another_curve(points, view, library)
    evidences = [branch_evidence(points, view, branch) for branch in branches_of(fault, air_c)]
    return _of_a_size(fault, [evidence for evidence in evidences if evidence is not None])


def _possible(fault: Fault, log_evidence: float, variant: str = "") -> _Explained | None:
    if not math.isfinite(log_evidence):
        return None
    return _Explained(fault=fault, log_evidence=log_evidence, variant=variant)


def _none_of_these(seen: _Seen) -> _Explained:
    slips = slips_log_evidence(seen.points)
    if seen.live is None or seen.view is None:
        return _Explained(fault=Fault.NONE_OF_THESE, log_evidence=slips, variant=SCATTERED)
    unlisted = unlisted_evidence(seen.live, seen.view)
    follows = unlisted.follows_a_thermistor and not seen.some_are_dead
    return _Explained(
        fault=Fault.NONE_OF_THESE,
        log_evidence=slips + unlisted.log_evidence,
        variant=UNLISTED_PART if follows else SCATTERED,
    )


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


def _finding(explained: _Explained, probability: float) -> Finding:
    return Finding(
        fault=explained.fault,
        weight=probability,
        probability=probability,
        size=explained.size,
        size_u=explained.size_u,
        unit=explained.unit,
        variant=explained.variant,
        next_action=explained.fault.next_action(explained.variant),
    )
