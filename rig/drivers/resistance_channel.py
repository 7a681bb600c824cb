"""One resistance channel: excitation, settling, three taps, ohms."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from gpiozero import DigitalOutputDevice

from calibration.contract.readings import ChannelReading, Quality
from rig.drivers.converter import TapConverter
from rig.drivers.pacing import Pacer
from rig.drivers.range_choice import choose_range
from rig.drivers.three_taps import TapCounts, judge
from rig.errors import OrderRefused
from rig.wiring import ChannelWiring, RangeWiring, Reportable, SamplingPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSample:
    """What one sample of a resistance channel found.

    Attributes
    ----------
    taps : TapCounts or None
        None where the converter could not be read at all.
    range_ohm : float
        Nominal reference resistor in use. [Ω]
    """

    reading: ChannelReading
    taps: TapCounts | None
    range_ohm: float


class ResistanceChannel:
    """Measures one device under test; current flows only while it is being sampled.

    Parameters
    ----------
    wiring : ChannelWiring
        Ranges and taps.
    reportable : Reportable
        Limits of the wiring file.
    plan : SamplingPlan
        How a sample is spread over time.
    converter : TapConverter
        Reads the taps.
    pacer : Pacer
        Waits for jitter and settling.
    jitter : callable
        Number from 0 to 1, new at each call: where in a mains cycle the sample begins.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(
        self,
        *,
        wiring: ChannelWiring,
        reportable: Reportable,
        plan: SamplingPlan,
        converter: TapConverter,
        pacer: Pacer,
        jitter: Callable[[], float],
        pin_factory: Any = None,
    ) -> None:
        self._wiring = wiring
        self._reportable = reportable
        self._plan = plan
        self._converter = converter
        self._pacer = pacer
        self._jitter = jitter
        self._excitation = {
            each.excitation_gpio: DigitalOutputDevice(each.excitation_gpio, pin_factory=pin_factory)
            for each in wiring.ranges
        }
        self._range = wiring.ranges[0]
        self._fixed = False

    @property
    def range_ohm(self) -> float:
        """Nominal reference resistor that the next sample uses. [Ω]"""
        return self._range.reference_ohm

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range, or leave it to the expected error with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """
        if range_ohm is None:
            self._fixed = False
            return
        for each in self._wiring.ranges:
            if each.reference_ohm == range_ohm:
                self._range, self._fixed = each, True
                return
        known = " or ".join(f"{each.reference_ohm:g}" for each in self._wiring.ranges)
        raise OrderRefused(
            f"The {self._wiring.name} channel has no {range_ohm:g} Ω range. Ask for {known} Ω."
        )

    def sample(self) -> ChannelSample:
        """One sample in the present range; chooses the range of the next."""
        used = self._range
        try:
            counts = self._counts(used)
        except OSError as error:
            words = f"the converter could not be read ({error}): check that SPI is switched on"
            return ChannelSample(
                reading=ChannelReading(quality=Quality.MISSING, reason=words),
                taps=None,
                range_ohm=used.reference_ohm,
            )
        reading = judge(counts, reference_ohm=used.reference_ohm, reportable=self._reportable)
        if not self._fixed and reading.quality is not Quality.MISSING:
            self._range = choose_range(
                self._wiring,
                current=used,
                estimate_ohm=counts.resistance_ohm(used.reference_ohm),
                reportable=self._reportable,
            )
        return ChannelSample(reading=reading, taps=counts, range_ohm=used.reference_ohm)

    def _counts(self, used: RangeWiring) -> TapCounts:
        self._pacer.wait(self._jitter() * self._plan.cycle_s)
        excitation = self._excitation[used.excitation_gpio]
        excitation.on()
        try:
            self._pacer.wait(self._plan.settle_s)
            tap0, tap1, tap2 = self._converter.mean_counts(
                (used.tap0, self._wiring.tap1, self._wiring.tap2), self._plan
            )
        finally:
            excitation.off()
        return TapCounts(tap0=tap0, tap1=tap1, tap2=tap2)

    def off(self) -> None:
        """Take all excitation away."""
        for device in self._excitation.values():
            device.off()

    def close(self) -> None:
        """Take all excitation away and let go of the pins."""
        for device in self._excitation.values():
            device.off()
            device.close()
