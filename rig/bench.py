"""The bench: builds the drivers, on metal or over simulated silicon, and puts everything safe."""

import os
import random
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from calibration.contract.readings import ChannelReading, Insertion, Quality
from rig.clock import Clock, SimulatedClock
from rig.drivers.converter import TapConverter
from rig.drivers.decade_box import DecadeBox
from rig.drivers.i2c import I2CBus
from rig.drivers.infrared import InfraredSensor
from rig.drivers.insertion import InsertionRelays
from rig.drivers.one_wire import KERNEL_TREE, WitnessThermometer, WitnessThread
from rig.drivers.pacing import Pacer, RealPacer
from rig.drivers.port_expander import PortExpander
from rig.drivers.resistance_channel import ChannelSample, ResistanceChannel
from rig.errors import OrderRefused, RelayError
from rig.sim.chance import generator
from rig.sim.hands import do_by_hand
from rig.sim.papers import write_papers
from rig.sim.silicon import SimulatedSilicon
from rig.sim.world import World, new_world_state
from rig.sim.world_file import SavedWorld, read_world, write_world
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
    """

    channels: Mapping[str, ChannelReading]
    taps: Mapping[str, float]
    decade_ohm: float
    insertion: Insertion
    range_ohm: float


class Bench(Protocol):
    """A bench, on metal or simulated."""

    simulated: bool
    clock: Clock

    @property
    def trouble(self) -> tuple[str, ...]:
        """What is wrong with the bench as a whole, in words; empty where nothing is."""

    def sample(self) -> BenchSample:
        """One pass at the present clock time; a bad chip becomes a quality word, never an exception."""

    def set_decade(self, resistance_ohm: float) -> None:
        """Set the decade box. [Ω]

        Raises
        ------
        OrderRefused
            If the box cannot make that resistance.
        RelayError
            If its relays cannot be reached.
        """

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the decade box in the circuit, breaking before making.

        Raises
        ------
        OrderRefused
            If the relays for it do not exist.
        """

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range of the sender channel, or leave it to the rig with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """

    def hands(self, fields: Mapping[str, Any]) -> None:
        """Do what a person would do at the bath; in simulation only.

        Raises
        ------
        OrderRefused
            On metal, or for something these hands cannot do.
        """

    def safe(self) -> None:
        """All relays and all excitation off."""

    def save(self) -> None:
        """Put the simulated world away in its file; nothing on metal."""

    def close(self) -> None:
        """Make safe and let go of the hardware."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Below:
    """What the drivers stand on."""

    pin_factory: Any
    i2c_bus: I2CBus
    one_wire_tree: Path
    pacer: Pacer
    jitter: Callable[[], float]


class _DrivenBench:
    """The drivers over whatever is below them; the same on metal and in simulation."""

    def __init__(self, *, wiring: Wiring, clock: Clock, below: Below) -> None:
        self.clock = clock
        self._wiring = wiring
        inputs = [
            tap
            for channel in wiring.channels.values()
            for tap in (channel.tap1, channel.tap2, *(each.tap0 for each in channel.ranges))
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
            wiring=wiring.insertion, pacer=below.pacer, pin_factory=below.pin_factory
        )
        expander = PortExpander(bus=below.i2c_bus, address=wiring.decade_box.i2c_address)
        self._box = DecadeBox(expander=expander, step_ohm=wiring.decade_box.step_ohm)
        self._infrared = InfraredSensor(bus=below.i2c_bus, wiring=wiring.infrared)
        self._witness = WitnessThermometer(
            tree=below.one_wire_tree, stale_after_s=wiring.one_wire.stale_after_s
        )
        self._settled_s = {name: 0.0 for name in self._channels}
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
        channels = {name: self._checked(name, sample, now_s) for name, sample in samples.items()}
        channels["witness"] = self._witness.reading(now_s)
        channels["infrared"] = infrared.infrared
        channels["ambient"] = infrared.ambient
        return BenchSample(
            channels=channels,
            taps=_tap_counts(samples),
            decade_ohm=self._box.resistance_ohm,
            insertion=self._insertion.insertion,
            range_ohm=samples["sender"].range_ohm,
        )

    def set_decade(self, resistance_ohm: float) -> None:
        """Set the decade box. [Ω]"""
        inserted = self._insertion.insertion.value
        try:
            self._box.set_resistance(resistance_ohm)
        except RelayError as error:
            self._box_trouble = str(error)
            raise
        self._box_trouble = None
        self._unsettle([name for name in self._channels if name == inserted])

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the decade box in the circuit, breaking before making."""
        if insertion is not self._insertion.insertion:
            self._insertion.set_insertion(insertion)
            self._unsettle(list(self._channels))

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range of the sender channel, or leave it to the rig with None. [Ω]"""
        self._channels["sender"].set_range(range_ohm)

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
        self._unsettle(list(self._channels))
        self._box.off()

    def close(self) -> None:
        """Make safe and let go of the hardware."""
        try:
            self.safe()
        except RelayError as error:
            self._box_trouble = str(error)
        for channel in self._channels.values():
            channel.close()
        self._insertion.close()
        self._converter.close()

    def _begin_pass(self, now_s: float) -> None:
        raise NotImplementedError

    def _unsettle(self, names: list[str]) -> None:
        for name in names:
            self._settled_s[name] = self.clock.monotonic_s() + self._wiring.bench.relay_settle_s

    def _checked(self, name: str, sample: ChannelSample, now_s: float) -> ChannelReading:
        """Reading of a channel, unless its relays have just moved or cannot be trusted."""
        reason = None
        if now_s < self._settled_s[name]:
            reason = "relays have just moved"
        elif self._insertion.insertion.value == name and not self._box.known:
            reason = "the decade box does not answer, so that its setting is not known"
        if reason is None:
            return sample.reading
        return ChannelReading(quality=Quality.SWITCHING, raw=sample.reading.raw, reason=reason)


def _tap_counts(samples: Mapping[str, ChannelSample]) -> dict[str, float]:
    counts: dict[str, float] = {}
    for name, sample in samples.items():
        if sample.taps is not None:
            taps = (sample.taps.tap0, sample.taps.tap1, sample.taps.tap2)
            counts.update({f"{name}.tap{number}": count for number, count in enumerate(taps)})
    return counts


class SimulatedBench(_DrivenBench):
    """The drivers over simulated silicon; rig time is the injected clock's.

    Attributes
    ----------
    silicon : SimulatedSilicon
        The chips and the world below; for tests.
    """

    simulated = True

    def __init__(
        self,
        *,
        wiring: Wiring,
        clock: Clock,
        silicon: SimulatedSilicon,
        world_file: Path,
        wall_utc_s: Callable[[], float],
    ) -> None:
        self.silicon = silicon
        self._world_file = world_file
        self._wall_utc_s = wall_utc_s
        self._next_conversion_s = clock.monotonic_s()
        state = silicon.world.state
        jitter = generator(state.seed, "noise", state.wakings, 1)
        below = Below(
            pin_factory=silicon.pin_factory,
            i2c_bus=silicon.i2c_bus,
            one_wire_tree=silicon.one_wire.folder,
            pacer=silicon.pacer,
            jitter=jitter.random,
        )
        super().__init__(wiring=wiring, clock=clock, below=below)

    def hands(self, fields: Mapping[str, Any]) -> None:
        """Do what a person would do at the bath (rig/sim/hands.py)."""
        self.silicon.world.advance(self.clock.monotonic_s())
        do_by_hand(self.silicon.world, fields)

    def save(self) -> None:
        """Put the simulated world away in its file."""
        saved = SavedWorld(
            state=self.silicon.world.state,
            wall_utc_s=self._wall_utc_s(),
            simulated_utc_s=self.clock.utc_s(),
        )
        write_world(self._world_file, saved)

    def close(self) -> None:
        """Make safe, put the world away, and let go of the chips."""
        super().close()
        self.save()
        self.silicon.close()

    def _begin_pass(self, now_s: float) -> None:
        self.silicon.begin_pass(now_s)
        if now_s >= self._next_conversion_s - 1e-9:
            self._next_conversion_s = now_s + self._wiring.one_wire.conversion_interval_s
            self.silicon.one_wire.convert(self.silicon.world.witness_c)
            self._witness.convert(now_s)


class MetalBench(_DrivenBench):
    """The drivers on a Raspberry Pi. Written from library sources, never yet run on one."""

    simulated = False

    def __init__(self, *, wiring: Wiring, clock: Clock, below: Below) -> None:
        super().__init__(wiring=wiring, clock=clock, below=below)
        self._thread = WitnessThread(
            witness=self._witness, clock=clock, interval_s=wiring.one_wire.conversion_interval_s
        )
        self._thread.start()

    def hands(self, fields: Mapping[str, Any]) -> None:
        """Refuse: a real bath needs real hands."""
        raise OrderRefused("This bench is real: turn the heater and change the sender by hand.")

    def save(self) -> None:
        """Nothing to put away."""

    def close(self) -> None:
        """Stop the witness, make safe, let go of the hardware."""
        self._thread.close()
        super().close()

    def _begin_pass(self, now_s: float) -> None:
        """Real chips need no bringing up to date."""


def simulated_bench(
    *,
    wiring: Wiring,
    seed: int,
    plant: tuple[str, float] | None,
    world_file: Path,
    clock: SimulatedClock,
    papers_folder: Path | None = None,
    wall_utc_s: Callable[[], float] = time.time,
) -> SimulatedBench:
    """A bench over simulated silicon, new or taken up where it was put away.

    Parameters
    ----------
    wiring : Wiring
        As on metal.
    seed : int
        All chance of a new world; one that is taken up keeps its own.
    plant : tuple or None
        Fault in the first sender of a new world, as `rig.sim.plants.parse_plant` gives it.
    world_file : Path
        Where the world is put away.
    clock : SimulatedClock
        Rig time; start its UTC by `simulated_start_utc_s`.
    papers_folder : Path or None
        Where the instruments' certificates go; None is ``papers`` beside the world file.
    wall_utc_s : callable
        Wall time, to know for how long a world was put away. [s]

    Raises
    ------
    SavedWorldError
        If the world or its papers cannot be taken up.
    """
    saved = read_world(world_file)
    if saved is None:
        world = World(state=new_world_state(seed=seed, plant=plant), now_s=clock.monotonic_s())
    else:
        saved.state.wakings += 1
        world = World(state=saved.state, now_s=clock.monotonic_s())
        world.pass_time_away(max(0.0, wall_utc_s() - saved.wall_utc_s))
    silicon = SimulatedSilicon(wiring=wiring, world=world)
    write_papers(
        papers_folder or world_file.parent / "papers",
        seed=world.state.seed,
        probe=world.probe_law,
        box=silicon.box,
        step_ohm=wiring.decade_box.step_ohm,
        today_utc_s=clock.utc_s() or wall_utc_s(),
    )
    bench = SimulatedBench(
        wiring=wiring, clock=clock, silicon=silicon, world_file=world_file, wall_utc_s=wall_utc_s
    )
    bench.save()
    return bench


def simulated_start_utc_s(world_file: Path, wall_utc_s: float) -> float:
    """UTC at which the clock of a simulated bench starts: wall time, but never back. [s]

    Accelerated time may have run ahead of the wall; then it goes on from there, plus the time away.
    """
    saved = read_world(world_file)
    if saved is None or saved.simulated_utc_s is None:
        return wall_utc_s
    away_s = max(0.0, wall_utc_s - saved.wall_utc_s)
    return max(wall_utc_s, saved.simulated_utc_s + away_s)


def real_bench(*, wiring: Wiring, clock: Clock) -> MetalBench:
    """The bench on a Raspberry Pi. Written from library sources, never yet run on one."""
    # lgpio leaves a pipe in its working directory, which may be read-only under a service.
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    from adafruit_extended_bus import ExtendedI2C

    below = Below(
        pin_factory=None,
        i2c_bus=ExtendedI2C(wiring.i2c_bus, 100_000),
        one_wire_tree=KERNEL_TREE,
        pacer=RealPacer(),
        jitter=random.random,
    )
    return MetalBench(wiring=wiring, clock=clock, below=below)
