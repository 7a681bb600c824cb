"""Leads and clips: read with the clips shorted at the sender's end, taken off every reading of the run.

The short is read through the same relays and on the same range. What is subtracted is then the same for
every reading, and so is its uncertainty: the corrected resistances become correlated.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.resistance.covariance import CorrectedReading, covariance_ohm2
from calibration.resistance.decade_box import DecadeBoxCertificate

Matrix = NDArray[np.float64]

#: Sound leads with clips stay under this; more is a corroded clip or a broken strand. Assumed. [Ω]
LARGEST_LEADS_OHM = 5.0


class LeadsError(CalibrationError):
    """Leads that cannot be taken off."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WithoutLeads:
    """Resistances with the leads taken off.

    Attributes
    ----------
    leads_ohm, u_leads_ohm : float
        What was taken off, and its standard uncertainty. [Ω]
    resistances_ohm : tuple[float, ...]
        In the order of the readings. [Ω]
    covariance_ohm2 : ndarray, shape (n, n)
        Of those. [Ω²]
    """

    leads_ohm: float
    u_leads_ohm: float
    resistances_ohm: tuple[float, ...]
    covariance_ohm2: Matrix

    def standard_u_ohm(self, place: int) -> float:
        """Standard uncertainty of one of the resistances. [Ω]"""
        return float(np.sqrt(self.covariance_ohm2[place, place]))


def without_leads(
    readings: Sequence[CorrectedReading], *, shorted: CorrectedReading, box: DecadeBoxCertificate
) -> WithoutLeads:
    """Take the shorted reading off each of the others.

    The short lies below the span that the box has checked: the quadratic goes on there, with the
    uncertainty that its covariance gives it. What is wrong in the same way at both ends cancels.

    Parameters
    ----------
    readings : sequence of CorrectedReading
    shorted : CorrectedReading
        With the clips shorted at the sender's end.
    box : DecadeBoxCertificate

    Raises
    ------
    LeadsError
        If the leads read below zero beyond their uncertainty, or more than sound leads have.
    """
    together = covariance_ohm2([*readings, shorted], box)
    leads_ohm, u_leads_ohm = shorted.resistance_ohm, float(np.sqrt(together[-1, -1]))
    if leads_ohm < -2.0 * u_leads_ohm:
        raise LeadsError(
            f"The shorted clips read {leads_ohm:.3f} Ω, below zero by more than {2.0 * u_leads_ohm:.3f} Ω "
            "allows: run the ohms check again, then the short."
        )
    if leads_ohm > LARGEST_LEADS_OHM:
        raise LeadsError(
            f"The shorted clips read {leads_ohm:.2f} Ω; sound leads stay under {LARGEST_LEADS_OHM:g} Ω. "
            "Clean the clips, look for a broken strand, and see that the short is at the sender's end."
        )
    take_off = np.hstack([np.eye(len(readings)), -np.ones((len(readings), 1))])
    return WithoutLeads(
        leads_ohm=leads_ohm,
        u_leads_ohm=u_leads_ohm,
        resistances_ohm=tuple(reading.resistance_ohm - leads_ohm for reading in readings),
        covariance_ohm2=take_off @ together @ take_off.T,
    )
