"""One resistance channel: excitation, settling, three taps, ohms."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from gpiozero import DigitalOutputDevice

from calibration.contract.readings import ChannelReading, Quality
from rig.drivers.converter import TapConverter
from rig.drivers.frozen import RepeatWatch
from rig.drivers.pacing import Pacer
from rig.drivers.range_choice import choose_range
from rig.drivers.three_taps import TapCounts, judge
from rig.errors import OrderRefused
from rig.wiring import ChannelWiring, RangeWiring, Reportable, SamplingPlan

# Noise moves the mean of 64 conversions every time: the same three means so often are no measurement.
FROZEN_AFTER_PASSES = 8


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
        self._range = wiring.free_ranges[0]
        self._fixed = False
        self._held = False
        self._repeats = RepeatWatch(most=FROZEN_AFTER_PASSES)

    @property
    def range_ohm(self) -> float:
        """Nominal reference resistor that the next sample uses. [Ω]"""
        return self._range.reference_ohm

    @property
    def is_held(self) -> bool:
        """Tell whether the excitation stays on between samples."""
        return self._held

    @property
    def is_on_ordered_range(self) -> bool:
        """Tell whether the range is one that the rig never chooses by itself."""
        return self._range.ordered_only

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range, or leave it to the expected error with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """
        if range_ohm is None:
            self._fixed = False
            if self._range.ordered_only:
                self._range = self._wiring.free_ranges[0]
            return
        for each in self._wiring.ranges:
            if each.reference_ohm == range_ohm:
                self._range, self._fixed = each, True
                return
        known = " or ".join(
            ", ".join(f"{each.reference_ohm:g}" for each in self._wiring.ranges).rsplit(", ", 1)
        )
        raise OrderRefused(
            f"The {self._wiring.name} channel has no {range_ohm:g} Ω range. Ask for {known} Ω."
        )

    def hold(self, held: bool) -> None:
        """Leave the excitation on between samples, to warm the device on purpose, or stop doing so."""
        self._held = held
        if not held:
            self._all_off()

    def sample(self) -> ChannelSample:
        """One sample in the present range; chooses the range of the next."""
        used = self._range
        self._pacer.wait(self._jitter() * self._plan.cycle_s)
        try:
            counts = self._counts(used, self._plan)
        except OSError as error:
            return _unread(used, error)
        reading = judge(counts, range_wiring=used, reportable=self._reportable)
        if self._repeats.is_frozen((used.reference_ohm, counts.tap0, counts.tap1, counts.tap2)):
            reading = _frozen(reading)
        if not self._fixed and reading.quality is not Quality.MISSING:
            self._range = choose_range(
                self._wiring,
                current=used,
                estimate_ohm=counts.resistance_ohm(used.reference_ohm),
                reportable=self._reportable,
            )
        return ChannelSample(reading=reading, taps=counts, range_ohm=used.reference_ohm)

    def burst_point(self, plan: SamplingPlan) -> ChannelSample:
        """One point of a burst in the present range: single conversions, and no choice of range."""
        used = self._range
        try:
            counts = self._counts(used, plan)
        except OSError as error:
            return _unread(used, error)
        return ChannelSample(
            reading=judge(counts, range_wiring=used, reportable=self._reportable),
            taps=counts,
            range_ohm=used.reference_ohm,
        )

    def _counts(self, used: RangeWiring, plan: SamplingPlan) -> TapCounts:
        excitation = self._excitation[used.excitation_gpio]
        if self._held and not excitation.value:
            self._all_off()  # the range has changed: one at a time
        excitation.on()
        try:
            self._pacer.wait(plan.settle_s)
            tap0, tap1, tap2 = self._converter.mean_counts(
                (used.tap0, self._wiring.tap1, self._wiring.tap2), plan
            )
        finally:
            if not self._held:
                excitation.off()
        return TapCounts(tap0=tap0, tap1=tap1, tap2=tap2)

    def off(self) -> None:
        """Take all excitation away, and leave a range that is only ordered."""
        self._held = False
        if self._range.ordered_only:
            self._range, self._fixed = self._wiring.free_ranges[0], False
        self._all_off()

    def _all_off(self) -> None:
        for device in self._excitation.values():
            device.off()

    def close(self) -> None:
        """Take all excitation away and let go of the pins."""
        for device in self._excitation.values():
            device.off()
            device.close()


def _unread(used: RangeWiring, error: OSError) -> ChannelSample:
    words = f"the converter could not be read ({error}): check that SPI is switched on"
    return ChannelSample(
        reading=ChannelReading(quality=Quality.MISSING, reason=words),
        taps=None,
        range_ohm=used.reference_ohm,
    )


def _frozen(reading: ChannelReading) -> ChannelReading:
    """A reading whose counts stand still, whatever it says; a worse word stays."""
    if reading.quality is Quality.MISSING:
        return reading
    return ChannelReading(
        quality=Quality.FROZEN,
        raw=reading.raw,
        reason=f"the same counts {FROZEN_AFTER_PASSES} times over: check the converter's supply",
    )
