"""A resistance as a meter with a certificate shows it: corrected, with what makes it uncertain."""

import math
from dataclasses import dataclass

from calibration.resistance.ohmmeter import Ohmmeter
from calibration.uncertainty.budget import BudgetLine
from calibration.uncertainty.line import normal, rectangular

#: What hand leads and clips put on a reading where nobody joined them and looked: up to this. A maker of
#: meters says that leads have 0.5 Ω or less (help.fluke.com: "Why does my multimeter not go to zero in the
#: resistance mode?"); that clips stay within it too is assumed. [Ω]
LEADS_NOT_READ_OHM = 0.5
#: What clips change from one time to the next once the leads are taken off, half-width. Assumed. [Ω]
CLIPS_OHM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Metered:
    """A corrected resistance.

    Attributes
    ----------
    resistance_ohm : float
        [Ω]
    lines : tuple[BudgetLine, ...]
        Of the resistance itself. [Ω]
    """

    resistance_ohm: float
    lines: tuple[BudgetLine, ...]

    @property
    def standard_u_ohm(self) -> float:
        """Standard uncertainty of the resistance. [Ω]"""
        return math.hypot(*(line.contribution for line in self.lines))


def metered(
    shown_ohm: float, meter: Ohmmeter, *, last_digit_ohm: float, leads_ohm: float | None, per_ohm: float = 1.0
) -> Metered:
    """Correct a reading by the certificate of its meter.

    Parameters
    ----------
    shown_ohm : float
        As displayed, leads included. [Ω]
    meter : Ohmmeter
        Its certificate is of readings with the leads taken off.
    last_digit_ohm : float
        Last digit that was written down. [Ω]
    leads_ohm : float or None
        Shown with the leads joined; None where nobody looked, and nothing is taken off. [Ω]
    per_ohm : float
        Sensitivity of what the lines are for to the resistance.

    Raises
    ------
    OhmmeterError
        If the certificate does not reach there.
    """
    without_leads_ohm = shown_ohm - (leads_ohm or 0.0)
    correction = meter.correction_at(without_leads_ohm)
    corrected_ohm = without_leads_ohm + correction.correction_ohm
    if leads_ohm is None:
        leads = rectangular("leads and clips, not read", 0.0, "Ω", LEADS_NOT_READ_OHM, -per_ohm)
    else:
        leads = rectangular("leads taken off, clips", leads_ohm, "Ω", CLIPS_OHM, -per_ohm)
    return Metered(
        resistance_ohm=corrected_ohm,
        lines=(
            normal("meter, by its certificate", corrected_ohm, "Ω", correction.standard_u_ohm, per_ohm),
            rectangular("last digit of the meter", shown_ohm, "Ω", 0.5 * last_digit_ohm, per_ohm),
            leads,
        ),
    )
