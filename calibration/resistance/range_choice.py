"""Which range to read a resistance on: the one with the least expected error that may report it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import CalibrationError
from calibration.resistance.circuit import Circuit
from calibration.resistance.converter import CODES

#: What one mean tap count is wrong by after the check, standard deviation. Only the comparison of ranges
#: rests on it; it is about what `calibration.resistance.error_model` leaves of a B-grade chip. [count]
TAP_ERROR_COUNT = 0.12


class RangeChoiceError(CalibrationError):
    """No range may report the resistance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringRange:
    """A circuit and the resistances it may report.

    Attributes
    ----------
    circuit : Circuit
    lowest_ohm, highest_ohm : float
        Reportable span. [Ω]
    """

    circuit: Circuit
    lowest_ohm: float
    highest_ohm: float

    def reports(self, resistance_ohm: float) -> bool:
        """Whether ohms may be derived."""
        return self.lowest_ohm < resistance_ohm < self.highest_ohm


def expected_relative_error(
    circuit: Circuit, resistance_ohm: float, tap_error_count: float = TAP_ERROR_COUNT
) -> float:
    """Relative error of ``R = R_ref (c1 - c2)/(c0 - c1)`` for independent errors of the three taps.

    With ``s`` counts per ohm, ``dR/R = (e1 - e2)/(s R) - (e0 - e1)/(s R_ref)``: tap 1 stands in both
    differences, so that its error counts most.

    Parameters
    ----------
    circuit : Circuit
    resistance_ohm : float
        Device. [Ω]
    tap_error_count : float
        Standard deviation of the error of one mean tap count. [count]

    Returns
    -------
    float
        Standard deviation. [1]
    """
    loop_ohm = circuit.source_v / circuit.excitation.current_a(resistance_ohm)
    by_device, by_reference = 1.0 / resistance_ohm, 1.0 / circuit.reference_ohm
    return tap_error_count * loop_ohm / CODES * math.hypot(by_device, by_device + by_reference, by_reference)


def best_range(ranges: Sequence[MeasuringRange], resistance_ohm: float) -> MeasuringRange:
    """Range with the least expected error among those that may report the resistance.

    Raises
    ------
    RangeChoiceError
        If none may.
    """
    reporting = [one for one in ranges if one.reports(resistance_ohm)]
    if not reporting:
        lowest = min(one.lowest_ohm for one in ranges)
        highest = max(one.highest_ohm for one in ranges)
        raise RangeChoiceError(
            f"No range reports {resistance_ohm:.6g} Ω: together they reach from {lowest:.0f} to "
            f"{highest:.0f} Ω. Check clips and connector, or fit a range with another reference resistor."
        )
    return min(reporting, key=lambda one: expected_relative_error(one.circuit, resistance_ohm))


def regret(chosen: MeasuringRange, ranges: Sequence[MeasuringRange], resistance_ohm: float) -> float:
    """By how much more a chosen range errs than the best one; 0 where it is the best. [1]"""
    best = best_range(ranges, resistance_ohm)
    least = expected_relative_error(best.circuit, resistance_ohm)
    return expected_relative_error(chosen.circuit, resistance_ohm) / least - 1.0
