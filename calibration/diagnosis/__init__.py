"""Why a sender is off: explanations compared by likelihood, each with weight, size and next action."""

from calibration.diagnosis.attribution import attribute
from calibration.diagnosis.bench_why import why_on_the_bench, with_burst
from calibration.diagnosis.dead_circuit import DeadCircuit, DeadPoint
from calibration.diagnosis.diagnosis import NAMED_FROM, Diagnosis, Finding
from calibration.diagnosis.fault import Fault
from calibration.diagnosis.intermittence import Intermittence, intermittence
from calibration.diagnosis.measured_points import (
    MeasuredPoints,
    dead_points,
    points_by_hand,
    points_from_bench,
    points_from_curve,
)
from calibration.diagnosis.why import opinions_of, why_words

__all__ = [
    "NAMED_FROM",
    "DeadCircuit",
    "DeadPoint",
    "Diagnosis",
    "Fault",
    "Finding",
    "Intermittence",
    "MeasuredPoints",
    "attribute",
    "dead_points",
    "intermittence",
    "opinions_of",
    "points_by_hand",
    "points_from_bench",
    "points_from_curve",
    "why_on_the_bench",
    "why_words",
    "with_burst",
]
