"""Why a sender reads as it does on the bench: its plateaus and a burst in one ranked diagnosis."""

from collections.abc import Sequence
from dataclasses import replace

from calibration.curves import ReferenceCurve
from calibration.diagnosis.attribution import attribute
from calibration.diagnosis.dead_circuit import DeadCircuit, DeadPoint
from calibration.diagnosis.diagnosis import Diagnosis, Finding, diagnosis_of
from calibration.diagnosis.fault import IN_A_BURST, Fault
from calibration.diagnosis.fault_shapes import USUAL_AIR_C
from calibration.diagnosis.intermittence import INTERMITTENT_PRIOR, Intermittence
from calibration.diagnosis.measured_points import dead_points, points_from_bench
from calibration.sender_point import SenderPoint

#: Before the connector is moved a loose contact is as likely as any one fault that has a size. Stated.
CONTACT_PRIOR = 0.08


def why_on_the_bench(
    points: Sequence[SenderPoint],
    curve: ReferenceCurve,
    *,
    library: Sequence[ReferenceCurve] = (),
    air_c: float = USUAL_AIR_C,
    dead: Sequence[DeadPoint] = (),
    burst: Intermittence | None = None,
) -> Diagnosis:
    """Weigh all that a run of the bench showed of one sender.

    A procedure calls it once, when a run ends::

        burst = intermittence(ohms)          # some 3 s at 50 Hz while the connector is moved
        diagnosis = why_on_the_bench(points, curve, library=curves, air_c=22.0, burst=burst)
        opinions_of(diagnosis, curve)        # sentences for page and certificate

    A run that stopped because the sender could not be read has no point to judge, but a reason all the same:
    ``why_on_the_bench([], curve, dead=[DeadPoint(temperature_c=25.0, circuit=DeadCircuit.OPEN)])``.

    Parameters
    ----------
    points : sequence of SenderPoint
        The judged plateaus; their budgets carry the covariance.
    curve : ReferenceCurve
    library : sequence of ReferenceCurve
        Curves a wrong part might follow.
    air_c : float
        Air beside the bath. [°C]
    dead : sequence of DeadPoint
        Set points at which the converter was at its rail.
    burst : Intermittence, optional
        What a burst showed, if one was taken.

    Raises
    ------
    ValueError
        If there is nothing to explain.
    """
    seen_dead = list(dead)
    if burst is not None and burst.fault is Fault.OPEN:
        # Open all the while: one more dead reading, whose temperature does not matter.
        seen_dead.append(DeadPoint(temperature_c=air_c, circuit=DeadCircuit.OPEN))
    if points:
        measured = points_from_bench(points, curve).and_dead(seen_dead)
    else:
        measured = dead_points(seen_dead, by_hand=False)
    diagnosis = attribute(measured, curve, library=library, air_c=air_c)
    if burst is None or burst.fault is Fault.OPEN:
        return diagnosis
    return with_burst(diagnosis, burst)


def with_burst(diagnosis: Diagnosis, burst: Intermittence) -> Diagnosis:
    """Diagnosis of plateaus, with the contact's share of it.

    A loose contact says nothing of the element behind it, and what was read over it proves nothing: the
    plateaus do not speak for or against the contact, so its probability is the burst's, and every other
    explanation keeps its share of the rest. Where plateaus were dead the contact has a probability from them
    already; the larger of that and `CONTACT_PRIOR` is what the burst starts from.

    Parameters
    ----------
    diagnosis : Diagnosis
        Of the same sender.
    burst : Intermittence
        Of a circuit that was not open throughout.
    """
    others = [
        finding
        for finding in diagnosis.findings
        if finding.fault not in {Fault.INTERMITTENT, Fault.CANNOT_TELL}
    ]
    before = sum(finding.probability for finding in diagnosis.findings if finding.fault is Fault.INTERMITTENT)
    contact = _updated(max(before, CONTACT_PRIOR), burst.weight)
    rest = sum(finding.probability for finding in others)
    scaled = [
        replace(finding, probability=(1.0 - contact) * finding.probability / rest) for finding in others
    ]
    return diagnosis_of([_of_the_contact(burst, contact), *scaled], by_hand=diagnosis.by_hand)


def _updated(prior: float, weight: float) -> float:
    """Probability by Bayes' rule, from one that a burst found with a prior of `INTERMITTENT_PRIOR`."""
    loose = prior * weight / INTERMITTENT_PRIOR
    sound = (1.0 - prior) * (1.0 - weight) / (1.0 - INTERMITTENT_PRIOR)
    return loose / (loose + sound) if loose + sound > 0.0 else prior


def _of_the_contact(burst: Intermittence, probability: float) -> Finding:
    return Finding(
        fault=Fault.INTERMITTENT,
        weight=probability,
        probability=probability,
        size=None,
        size_u=None,
        unit="",
        variant=IN_A_BURST,
        next_action=Fault.INTERMITTENT.next_action(IN_A_BURST),
    )
