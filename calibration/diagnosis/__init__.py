"""Why a sender is off: explanations compared by likelihood, each with weight, size and next action."""

from calibration.diagnosis.attribution import NAMED_FROM, Diagnosis, Finding, attribute
from calibration.diagnosis.fault import Fault
from calibration.diagnosis.measured_points import (
    MeasuredPoints,
    points_by_hand,
    points_from_bench,
    points_from_curve,
)
from calibration.diagnosis.why import opinions_of, why_words

__all__ = [
    "NAMED_FROM",
    "Diagnosis",
    "Fault",
    "Finding",
    "MeasuredPoints",
    "attribute",
    "points_by_hand",
    "points_from_bench",
    "points_from_curve",
    "opinions_of",
    "why_words",
]
