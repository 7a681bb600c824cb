"""What corrected resistances share: the box behind every check, and the correction of their range."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import RangeCorrection, correction_terms
from calibration.resistance.three_tap import FULL_SCALE_COUNT, ohm_per_count, resistance_from_ratio_count

Matrix = NDArray[np.float64]

# How many counts lie between two readings before the converter errs independently at them: the steps of its
# higher bits are 128 codes apart at the nearest. Assumed. [count]
_NEIGHBOURHOOD_COUNT = 64.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedReading:
    """A mean ratio count and the correction it was read through.

    Attributes
    ----------
    correction : RangeCorrection
    count : float
        Mean ratio count, 4096 x. [count]
    repeatability_count : float
        Standard uncertainty of that mean by its own scatter, shared with no other reading. [count]
    """

    correction: RangeCorrection
    count: float
    repeatability_count: float = 0.0

    @property
    def resistance_ohm(self) -> float:
        """Corrected resistance; of shorted clips it may scatter below zero. [Ω]"""
        count = self.correction.corrected_count(self.count)
        if count > 0.0:
            return resistance_from_ratio_count(count, self.correction.reference_ohm)
        return self.correction.reference_ohm * count / (FULL_SCALE_COUNT - count)

    @property
    def ohm_per_count(self) -> float:
        """Sensitivity at that count. [Ω]"""
        return ohm_per_count(self.count, self.correction.reference_ohm)


def covariance_ohm2(readings: Sequence[CorrectedReading], box: DecadeBoxCertificate) -> Matrix:
    """Covariance of corrected resistances that rest on one decade box.

    Shared by all: the box, in the part that goes with the value and in the part that does not. Shared
    within a range: the coefficients of its quadratic. Shared by near counts of a range: the converter's
    local nonlinearity. Its own: repeatability.

    Parameters
    ----------
    readings : sequence of CorrectedReading
        On one range or several.
    box : DecadeBoxCertificate

    Returns
    -------
    ndarray, shape (n, n)
        [Ω²]

    References
    ----------
    .. [1] JCGM 102:2011, 6.2.1.3 (propagation through sensitivities to shared inputs).
    """
    resistances = np.array([reading.resistance_ohm for reading in readings])
    relative_u, fixed_u_ohm = box.relative_standard_u(), box.fixed_standard_u_ohm()
    shared = np.outer(resistances, resistances) * relative_u**2 + fixed_u_ohm**2
    of_range = np.array([[_within_range(one, other) for other in readings] for one in readings])
    own = np.diag([(reading.repeatability_count * reading.ohm_per_count) ** 2 for reading in readings])
    covariance: Matrix = shared + 0.5 * (of_range + of_range.T) + own
    return covariance


def _within_range(one: CorrectedReading, other: CorrectedReading) -> float:
    if one.correction != other.correction:
        return 0.0
    terms = np.array(correction_terms(one.count)), np.array(correction_terms(other.count))
    count2 = float(terms[0] @ np.array(one.correction.covariance) @ terms[1])
    nearness = np.exp(-0.5 * ((one.count - other.count) / _NEIGHBOURHOOD_COUNT) ** 2)
    count2 += float(nearness) * one.correction.remainder_count**2
    return count2 * one.ohm_per_count * other.ohm_per_count
