"""A resistance meter on a decade box: one measurand, read either way round.

Either the box is known and the meter's error is found, or the meter is known and the box's.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohmmeter import Ohmmeter
from calibration.uncertainty.budget import BudgetLine
from calibration.uncertainty.line import normal, rectangular, student

#: What clips and dials change from one time to the next, half-width; assumed, common practice. [Ω]
CLIPS_OHM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class DialReading:
    """What a meter showed at one setting of the dials.

    Attributes
    ----------
    setting_ohm : float
        Nominal; 0 with every dial at zero, or with the leads joined. [Ω]
    shown_ohm : tuple[float, ...]
        Once, or several times with the dials turned away and back between. [Ω]
    resolution_ohm : float
        Last digit. [Ω]
    """

    setting_ohm: float
    shown_ohm: tuple[float, ...]
    resolution_ohm: float

    @property
    def mean_ohm(self) -> float:
        """Mean of what was shown. [Ω]"""
        return math.fsum(self.shown_ohm) / len(self.shown_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Box and meter at one setting.

    Attributes
    ----------
    true_ohm : float
        Of the box at its terminals, by the reference. [Ω]
    shown_ohm : float
        By the meter, leads taken off. [Ω]
    reference_lines, reading_lines, leads_lines : tuple[BudgetLine, ...]
        Of the error of what is calibrated: what is common to all settings by the reference, what is of this
        reading alone, and what the joined leads bring into all of them.
    """

    true_ohm: float
    shown_ohm: float
    reference_lines: tuple[BudgetLine, ...]
    reading_lines: tuple[BudgetLine, ...]
    leads_lines: tuple[BudgetLine, ...]

    @property
    def lines(self) -> tuple[BudgetLine, ...]:
        """All of them."""
        return (*self.reference_lines, *self.reading_lines, *self.leads_lines)


def meter_against_box(
    reading: DialReading,
    box: DecadeBoxCertificate,
    *,
    leads: DialReading | None,
    moved_relative: float = 0.0,
) -> Compared:
    """Error of the meter, shown minus true.

    Parameters
    ----------
    reading : DialReading
    box : DecadeBoxCertificate
    leads : DialReading or None
        Leads joined; None where four wires are used.
    moved_relative : float
        What the box may have moved since its certificate, and with the temperature; half-width. [1]

    Raises
    ------
    ValueError
        If the certificate of the box does not give that setting.
    """
    true_ohm = box.true_ohm(round(reading.setting_ohm))
    reference = (
        normal("decade box, with the value", true_ohm, "Ω", true_ohm * box.relative_standard_u(), -1.0),
        normal("decade box, fixed part", 0.0, "Ω", box.fixed_standard_u_ohm(), -1.0),
        *_moved(true_ohm, moved_relative, -1.0),
    )
    return Compared(
        true_ohm=true_ohm,
        shown_ohm=reading.mean_ohm - _ohm_of(leads),
        reference_lines=reference,
        reading_lines=_reading_lines(reading, 1.0, clipped=leads is not None),
        leads_lines=_leads_lines(leads, -1.0),
    )


def box_against_meter(
    reading: DialReading,
    meter: Ohmmeter,
    *,
    leads: DialReading | None,
    moved_relative: float = 0.0,
) -> Compared:
    """Error of the box, nominal minus true.

    Parameters
    ----------
    reading : DialReading
    meter : Ohmmeter
    leads : DialReading or None
        Leads joined; None where four wires are used.
    moved_relative : float
        What the meter may have moved since its certificate, and with the temperature; half-width. [1]

    Raises
    ------
    OhmmeterError
        If the certificate of the meter does not reach there.
    """
    of_meter = meter.near_zero() if reading.setting_ohm == 0.0 else meter.correction_at(reading.mean_ohm)
    true_ohm = reading.mean_ohm + of_meter.correction_ohm - _ohm_of(leads)
    reference = (
        normal("meter, by its certificate", of_meter.correction_ohm, "Ω", of_meter.standard_u_ohm, -1.0),
        *_moved(true_ohm, moved_relative, -1.0),
    )
    return Compared(
        true_ohm=true_ohm,
        shown_ohm=reading.mean_ohm - _ohm_of(leads),
        reference_lines=reference,
        reading_lines=_reading_lines(reading, -1.0, clipped=leads is not None),
        leads_lines=_leads_lines(leads, 1.0),
    )


def _ohm_of(leads: DialReading | None) -> float:
    return 0.0 if leads is None else leads.mean_ohm


def _moved(true_ohm: float, moved_relative: float, sensitivity: float) -> Sequence[BudgetLine]:
    if moved_relative == 0.0:
        return ()
    half_width_ohm = abs(true_ohm) * moved_relative
    return (rectangular("reference, moved since its certificate", 0.0, "Ω", half_width_ohm, sensitivity),)


def _reading_lines(reading: DialReading, sign: float, *, clipped: bool) -> tuple[BudgetLine, ...]:
    lines = [
        rectangular("last digit of the meter", reading.mean_ohm, "Ω", 0.5 * reading.resolution_ohm, sign)
    ]
    # A display rounds alike every time: its digit gets no smaller by reading it again.
    if len(reading.shown_ohm) > 1:
        u_ohm = statistics.stdev(reading.shown_ohm) / math.sqrt(len(reading.shown_ohm))
        if u_ohm > 0.0:
            lines.append(student("repeatability", 0.0, "Ω", u_ohm, sign, float(len(reading.shown_ohm) - 1)))
    if clipped:
        lines.append(rectangular("clips and dials, assumed", 0.0, "Ω", CLIPS_OHM, sign))
    return tuple(lines)


def _leads_lines(leads: DialReading | None, sign: float) -> tuple[BudgetLine, ...]:
    if leads is None:
        return ()
    return (rectangular("leads joined, last digit", leads.mean_ohm, "Ω", 0.5 * leads.resolution_ohm, sign),)
