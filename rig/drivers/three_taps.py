"""From three tap counts to ohms, and whether they may be called ohms."""

from dataclasses import dataclass

from calibration.contract.readings import ChannelReading, Quality
from rig.drivers.converter import FULL_SCALE_COUNT
from rig.wiring import RangeWiring, Reportable

# Below or above these the circuit is called short or open instead of out of range.
SHORT_BELOW_OHM = 5.0
OPEN_ABOVE_OHM = 300_000.0
# Under this the top tap has no excitation: 1 % of full scale.
DEAD_BELOW_COUNT = 0.01 * FULL_SCALE_COUNT


@dataclass(frozen=True, slots=True, kw_only=True)
class TapCounts:
    """Mean counts from the top of the reference resistor down. [count]"""

    tap0: float
    tap1: float
    tap2: float

    @property
    def ratio_count(self) -> float | None:
        """4096·(c1 - c2)/(c0 - c2), that is 4096·x with x = R/(R + R_ref). [count]"""
        span = self.tap0 - self.tap2
        return None if span <= 0 else FULL_SCALE_COUNT * (self.tap1 - self.tap2) / span

    def resistance_ohm(self, reference_ohm: float) -> float:
        """R_ref (c1 - c2)/(c0 - c1), clamped to 0 … infinity: an estimate, reportable or not. [Ω]"""
        drop = self.tap0 - self.tap1
        if drop <= 0.5:  # half a code: no current to speak of
            return float("inf")
        return max(0.0, reference_ohm * (self.tap1 - self.tap2) / drop)


def judge(counts: TapCounts, *, range_wiring: RangeWiring, reportable: Reportable) -> ChannelReading:
    """Reading of a resistance channel, with ohms only where they can be stood up for.

    Parameters
    ----------
    counts : TapCounts
        Mean tap counts.
    range_wiring : RangeWiring
        The range in use.
    reportable : Reportable
        Limits of the wiring file.
    """
    reference_ohm = range_wiring.reference_ohm
    if min(counts.tap0, counts.tap1, counts.tap2) >= FULL_SCALE_COUNT - 1:
        return _unusable(
            Quality.MISSING, counts, "the converter says full scale on every tap: no answer from it"
        )
    if counts.tap0 < DEAD_BELOW_COUNT:
        return _unusable(
            Quality.MISSING,
            counts,
            "no voltage at the top tap: check the excitation, the analog switch and the converter",
        )
    estimate_ohm = counts.resistance_ohm(reference_ohm)
    if estimate_ohm >= OPEN_ABOVE_OHM:
        return _unusable(Quality.OPEN, counts, "no current flows: open circuit, check clips and connector")
    if estimate_ohm <= SHORT_BELOW_OHM:
        return _unusable(Quality.SHORT, counts, "no voltage across the device: short circuit")
    low_ohm, high_ohm = reportable.span_ohm(range_wiring)
    if not low_ohm < estimate_ohm < high_ohm:
        side = "below" if estimate_ohm <= low_ohm else "above"
        return _unusable(
            Quality.RANGE,
            counts,
            f"{side} what the {reference_ohm:g} Ω range can report ({low_ohm:.0f} to {high_ohm:.0f} Ω)",
        )
    return ChannelReading(quality=Quality.GOOD, raw=counts.ratio_count, value=estimate_ohm)


def _unusable(quality: Quality, counts: TapCounts, reason: str) -> ChannelReading:
    return ChannelReading(quality=quality, raw=counts.ratio_count, reason=reason)
