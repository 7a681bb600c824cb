"""The drivers of a bench together, over whatever is below them: the same on metal and in simulation."""

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calibration.contract.readings import BurstReading, ChannelReading, Insertion, Quality
from rig.clock import Clock
from rig.drivers.burst import BurstPoint, burst_readings, take_burst
from rig.drivers.button import ShotButton
from rig.drivers.converter import TapConverter
from rig.drivers.decade_box import DecadeBox
from rig.drivers.frozen import NeighbourWatch
from rig.drivers.i2c import I2CBus
from rig.drivers.infrared import InfraredSensor
from rig.drivers.insertion import InsertionRelays
from rig.drivers.light import StatusLight
from rig.drivers.one_wire import WitnessThermometer
from rig.drivers.pacing import Pacer
from rig.drivers.port_expander import PortExpander
from rig.drivers.resistance_channel import ChannelSample, ResistanceChannel
from rig.errors import OrderRefused, RelayError
from rig.wiring import Wiring


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSample:
    """What one pass found.

    Attributes
    ----------
    channels : Mapping[str, ChannelReading]
        By channel name of the contract.
    taps : Mapping[str, float]
        Mean tap counts by name. [count]
    decade_ohm : float
        Setting of the decade box. [Ω]
    insertion : Insertion
        Where the decade box stands.
    range_ohm : float
        Nominal reference resistor in use on the sender channel. [Ω]
    sender_duty : float or None
        Share of the time for which the sender carries current, passes coming at the usual rate. [1]
    infrared_emissivity : float or None
        What the infrared sensor's cell held when it was last read. [1]
    burst : tuple of BurstReading
        Single conversions since the pass before, where a burst was taken.
    shots_s : tuple of float
        Rig times of the button's presses since the pass before. [s]
    """

    channels: Mapping[str, ChannelReading]
    taps: Mapping[str, float]
    decade_ohm: float
    insertion: Insertion
    range_ohm: float
    sender_duty: float | None = None
    infrared_emissivity: float | None = None
    burst: tuple[BurstReading, ...] = ()
    shots_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Below:
    """What the drivers stand on."""

    pin_factory: Any
    i2c_bus: I2CBus
    one_wire_tree: Path
    pacer: Pacer
    jitter: Callable[[], float]


class DrivenBench(ABC):
    """The drivers over whatever is below them; the same on metal and in simulation."""

    def __init__(self, *, wiring: Wiring, clock: Clock, below: Below) -> None:
        self.clock = clock
        self.shows_trouble = False
        self._wiring = wiring
        inputs = [
            tap
            for channel in wiring.channels.values()
            for tap in (channel.tap1, channel.tap2, *sorted({each.tap0 for each in channel.ranges}))
        ]
        self._converter = TapConverter(
            wiring=wiring.converter, inputs=inputs, pacer=below.pacer, pin_factory=below.pin_factory
        )
        self._channels = {
            name: ResistanceChannel(
                wiring=channel,
                reportable=wiring.reportable,
                plan=wiring.sampling,
                converter=self._converter,
                pacer=below.pacer,
                jitter=below.jitter,
                pin_factory=below.pin_factory,
            )
            for name, channel in wiring.channels.items()
        }
        self._insertion = InsertionRelays(
            wiring=wiring.insertion,
            release_s=wiring.relay.release_s,
            pacer=below.pacer,
            pin_factory=below.pin_factory,
        )
        expander = PortExpander(bus=below.i2c_bus, address=wiring.decade_box.i2c_address)
        self._box = DecadeBox(expander=expander, step_ohm=wiring.decade_box.step_ohm)
        self._infrared = InfraredSensor(bus=below.i2c_bus, wiring=wiring.infrared, pacer=below.pacer)
        self._pacer = below.pacer
        self._button = ShotButton(wiring=wiring.button, clock=clock, pin_factory=below.pin_factory)
        self._light = StatusLight(wiring=wiring.light, pin_factory=below.pin_factory)
        self._witness_neighbour = NeighbourWatch()
        self._burst: tuple[BurstPoint, ...] = ()
        self._witness = WitnessThermometer(
            tree=below.one_wire_tree, stale_after_s=wiring.one_wire.stale_after_s
        )
        self._settled_s = {name: 0.0 for name in self._channels}
        self._is_closed = False
        self._box_trouble: str | None = None
        try:
            self._box.off()
        except RelayError as error:  # the rest of the bench is of use without its box
            self._box_trouble = str(error)

    @property
    def trouble(self) -> tuple[str, ...]:
        """What is wrong with the bench as a whole, in words."""
        return () if self._box_trouble is None else (self._box_trouble,)

    def sample(self) -> BenchSample:
        """One pass at the present clock time."""
        now_s = self.clock.monotonic_s()
        self._begin_pass(now_s)
        samples = {name: channel.sample() for name, channel in self._channels.items()}
        infrared = self._infrared.read(now_s)
        channels = {name: self._checked(name, sample.reading, now_s) for name, sample in samples.items()}
        channels["witness"] = self._beside_probe(self._witness.reading(now_s), channels["probe"], now_s)
        channels["infrared"] = infrared.infrared
        channels["ambient"] = infrared.ambient
        self._light.next_pass(now_s=now_s, trouble=self.shows_trouble or bool(self.trouble))
        if self._channels["probe"].is_on_ordered_range:
            # a count on another scale than the desk's must not go out: runs leave such readings aside
            channels["probe"] = replace(channels["probe"], raw=None)
            del samples["probe"]
        burst, self._burst = self._burst, ()
        return BenchSample(
            channels=channels,
            taps=_tap_counts(samples),
            decade_ohm=self._box.resistance_ohm,
            insertion=self._insertion.insertion,
            range_ohm=samples["sender"].range_ohm,
            sender_duty=1.0 if self._channels["sender"].is_held else self._wiring.duty,
            infrared_emissivity=infrared.emissivity,
            burst=burst_readings(burst, now_s),
            shots_s=self._button.take_shots(),
        )

    def burst(self, duration_s: float) -> tuple[BurstPoint, ...]:
        """Single conversions of the sender at 50 Hz, for a connector that is moved meanwhile.

        They carry no mains averaging. The next pass carries them, too.

        Raises
        ------
        OrderRefused
            If it is too long.
        """
        began_s = self.clock.monotonic_s()
        self._begin_pass(began_s)
        points = take_burst(
            self._channels["sender"], self._pacer, began_s=began_s, duration_s=duration_s, wiring=self._wiring
        )
        self.clock.wait_until(began_s + duration_s)
        points = tuple(
            replace(point, reading=self._checked("sender", point.reading, point.time_s)) for point in points
        )
        self._burst = points
        return points

    def identify(self, duration_s: float) -> None:
        """Let the light show which rig this is. [s]"""
        self._light.identify(self.clock.monotonic_s() + duration_s)

    @property
    def button_is_pressed(self) -> bool:
        """Tell whether the button is down."""
        return self._button.is_pressed

    def read_emissivity(self) -> float:
        """Emissivity in the infrared sensor's own cell.

        Raises
        ------
        ReadingUnusable
            If it cannot be read.
        """
        return self._infrared.emissivity()

    def write_emissivity(self, emissivity: float, *, confirmed: bool = False) -> None:
        """Write the infrared sensor's emissivity cell; only where it was confirmed.

        Raises
        ------
        OrderRefused
            If it was not confirmed or cannot be; nothing was written.
        ReadingUnusable
            If the cell does not hold it afterwards.
        """
        self._infrared.write_emissivity(emissivity, confirmed=confirmed)

    def set_duty(self, duty: float) -> None:
        """Share of the time for which the sender carries current: as sampled, or always.

        Raises
        ------
        OrderRefused
            For any other share.
        """
        sampled = self._wiring.duty
        if duty != 1.0 and not math.isclose(duty, sampled):
            raise OrderRefused(f"The sender carries current for {sampled:.0%} of the time, or for 100 %.")
        self._channels["sender"].hold(duty == 1.0)

    def set_decade(self, resistance_ohm: float) -> None:
        """Set the decade box. [Ω]"""
        try:
            self._box.set_resistance(resistance_ohm)
        except RelayError as error:
            self._box_trouble = str(error)
            raise
        self._box_trouble = None
        self._unsettle([name for name in self._channels if name == self._insertion.channel])

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the decade box in the circuit, breaking before making."""
        if insertion is not self._insertion.insertion:
            self._insertion.set_insertion(insertion)
            self._unsettle(list(self._channels))

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range of the sender channel, or leave it to the rig with None. [Ω]"""
        self._channels["sender"].set_range(range_ohm)

    def set_probe_range(self, range_ohm: float | None) -> None:
        """Fix the range of the probe channel, or leave it to the rig with None. [Ω]

        On its cold range, for the ice point, readings carry ohms and no counts: no run uses them.

        Raises
        ------
        OrderRefused
            If there is no such range.
        """
        self._channels["probe"].set_range(range_ohm)

    def safe(self) -> None:
        """All relays and all excitation off.

        Raises
        ------
        RelayError
            If the decade box cannot be reached; everything else is off by then.
        """
        for channel in self._channels.values():
            channel.off()
        self._insertion.off()
        self._light.off()
        self._unsettle(list(self._channels))
        self._box.off()

    def close(self) -> None:
        """Make safe and let go of the hardware; a second time nothing happens."""
        if self._is_closed:
            return
        self._is_closed = True
        try:
            self.safe()
        except RelayError as error:
            self._box_trouble = str(error)
        for channel in self._channels.values():
            channel.close()
        self._insertion.close()
        self._button.close()
        self._light.close()
        self._converter.close()

    @abstractmethod
    def _begin_pass(self, now_s: float) -> None:
        """Bring what lies below the drivers to this rig time. [s]"""

    def _unsettle(self, names: list[str]) -> None:
        for name in names:
            self._settled_s[name] = self.clock.monotonic_s() + self._wiring.bench.relay_settle_s

    def _beside_probe(self, witness: ChannelReading, probe: ChannelReading, now_s: float) -> ChannelReading:
        """Reading of the witness, unless it stands still while the probe beside it moves."""
        if witness.quality is not Quality.GOOD or witness.raw is None:
            return witness
        inserted = self._insertion.channel == "probe"
        probe_ohm = None if inserted else probe.value
        if not self._witness_neighbour.is_frozen(raw=witness.raw, probe_ohm=probe_ohm, now_s=now_s):
            return witness
        words = "it stands still while the probe beside it moves: pull its plug and put it back"
        return ChannelReading(quality=Quality.FROZEN, raw=witness.raw, reason=words)

    def _checked(self, name: str, reading: ChannelReading, now_s: float) -> ChannelReading:
        """Reading of a channel, unless its relays have just moved or cannot be trusted."""
        reason = None
        if now_s < self._settled_s[name]:
            reason = "relays have just moved"
        elif self._insertion.channel == name and not self._box.known:
            reason = "the decade box does not answer, so that its setting is not known"
        if reason is None:
            return reading
        return ChannelReading(quality=Quality.SWITCHING, raw=reading.raw, reason=reason)


def _tap_counts(samples: Mapping[str, ChannelSample]) -> dict[str, float]:
    counts: dict[str, float] = {}
    for name, sample in samples.items():
        if sample.taps is not None:
            taps = (sample.taps.tap0, sample.taps.tap1, sample.taps.tap2)
            counts.update({f"{name}.tap{number}": count for number, count in enumerate(taps)})
    return counts
