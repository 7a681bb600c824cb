"""Which range of a resistance channel to measure in: the one with the smaller expected error."""

import math

from rig.drivers.converter import FULL_SCALE_COUNT
from rig.wiring import ChannelWiring, RangeWiring, Reportable

# What one mean tap count may be wrong by; only the comparison of two ranges rests on it.
COUNT_ERROR = 0.5
# Another range is taken only where it is better by this factor, or a sender at the crossing would flutter.
HYSTERESIS = 0.8


def expected_relative_error(resistance_ohm: float, range_wiring: RangeWiring, lift_ohm: float) -> float:
    """Relative error of R that `COUNT_ERROR` on both differences of taps makes.

    With N = 4096/(loop resistance) counts per ohm it is the root of (e/(N R))² + (e/(N R_ref))².
    """
    loop_ohm = range_wiring.ballast_ohm + range_wiring.reference_ohm + resistance_ohm + lift_ohm
    error_ohm = COUNT_ERROR * loop_ohm / FULL_SCALE_COUNT
    return error_ohm * math.hypot(1.0 / resistance_ohm, 1.0 / range_wiring.reference_ohm)


def choose_range(
    channel: ChannelWiring, *, current: RangeWiring, estimate_ohm: float, reportable: Reportable
) -> RangeWiring:
    """Range for the next pass, of those that the rig may choose by itself.

    Parameters
    ----------
    channel : ChannelWiring
        The channel with its ranges.
    current : RangeWiring
        Range of this pass.
    estimate_ohm : float
        What this pass found, reportable or not; may be 0 or infinity. [Ω]
    reportable : Reportable
        Limits of the wiring file.
    """

    def reports(each: RangeWiring) -> bool:
        low_ohm, high_ohm = reportable.span_ohm(each)
        return low_ohm < estimate_ohm < high_ohm

    if not any(reports(each) for each in channel.free_ranges):
        by_reference = sorted(channel.free_ranges, key=lambda each: each.reference_ohm)
        middle_ohm = math.sqrt(by_reference[0].reference_ohm * by_reference[-1].reference_ohm)
        return by_reference[-1] if estimate_ohm >= middle_ohm else by_reference[0]

    def error(each: RangeWiring) -> float:
        if not reports(each):
            return math.inf
        return expected_relative_error(estimate_ohm, each, channel.lift_ohm(each))

    best = min(channel.free_ranges, key=error)
    return best if error(best) < HYSTERESIS * error(current) else current
