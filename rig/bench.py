"""The bench as the rest of the rig sees it, on metal or over simulated silicon."""

import os
import random
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Protocol

from gpiozero import BadPinFactory, SPISoftwareFallback

from calibration.contract.readings import Insertion
from rig.clock import Clock
from rig.driven_bench import Below, BenchSample, DrivenBench
from rig.drivers.burst import BurstPoint
from rig.drivers.kernel_i2c import kernel_i2c_bus
from rig.drivers.one_wire import KERNEL_TREE, WitnessThread
from rig.drivers.pacing import Pacer, RealPacer
from rig.errors import OrderRefused, RigError
from rig.sim.artefact import check_artefact
from rig.sim.chance import generator
from rig.sim.hands import do_by_hand
from rig.sim.one_wire_tree import WitnessFault
from rig.sim.papers import write_papers
from rig.sim.silicon import SimulatedSilicon
from rig.sim.world import World, new_world_state
from rig.sim.world_file import SavedWorld, read_world, write_world
from rig.wiring import Wiring

__all__ = [
    "Bench",
    "BenchSample",
    "MetalBench",
    "SimulatedBench",
    "real_bench",
    "simulated_bench",
    "simulated_start_utc_s",
]


class Bench(Protocol):
    """A bench, on metal or simulated."""

    simulated: bool
    clock: Clock
    shows_trouble: bool  # set by the rig: the light shows trouble, whatever the bench itself says

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
        RelayError
            If its relays cannot be reached.
        """

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range of the sender channel, or leave it to the rig with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """

    def set_probe_range(self, range_ohm: float | None) -> None:
        """Fix the range of the probe channel, or leave it to the rig with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """

    def burst(self, duration_s: float) -> tuple[BurstPoint, ...]:
        """Single conversions of the sender at 50 Hz; the next pass carries them, too. [s]

        Raises
        ------
        OrderRefused
            If it is too long.
        """

    def identify(self, duration_s: float) -> None:
        """Let the light show which rig this is. [s]"""

    def set_duty(self, duty: float) -> None:
        """Share of the time for which the sender carries current: as sampled, or 1.

        Raises
        ------
        OrderRefused
            For any other share.
        """

    @property
    def button_is_pressed(self) -> bool:
        """Tell whether the button is down."""

    def read_emissivity(self) -> float:
        """Emissivity in the infrared sensor's own cell.

        Raises
        ------
        ReadingUnusable
            If it cannot be read.
        """

    def write_emissivity(self, emissivity: float, *, confirmed: bool = False) -> None:
        """Write that cell; only where it was confirmed.

        Raises
        ------
        OrderRefused
            If it was not confirmed or cannot be; nothing was written.
        ReadingUnusable
            If the cell does not hold it afterwards.
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


class SimulatedBench(DrivenBench):
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
        pacer_over: Callable[[Pacer], Pacer] = lambda pacer: pacer,
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
            pacer=pacer_over(silicon.pacer),
            jitter=jitter.random,
        )
        super().__init__(wiring=wiring, clock=clock, below=below)

    def hands(self, fields: Mapping[str, Any]) -> None:
        """Do what a person would do at the bath (rig/sim/hands.py)."""
        self.silicon.world.advance(self.clock.monotonic_s())
        do_by_hand(self.silicon.world, fields)
        self.silicon.take_plant()

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
            one_wire = self.silicon.one_wire
            hangs = one_wire.fault is WitnessFault.STALE and one_wire.has_converted
            one_wire.convert(self.silicon.world.witness_c)
            if not hangs:  # a driver that waits for a line that never answers
                self._witness.convert(now_s)


class MetalBench(DrivenBench):
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
    clock: Clock,
    papers_folder: Path | None = None,
    artefact_ohm: float | None = None,
    wall_utc_s: Callable[[], float] = time.time,
    pacer_over: Callable[[Pacer], Pacer] = lambda pacer: pacer,
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
        Where the world is put away; the simulated 1-wire tree stands in a folder beside it.
    clock : Clock
        Rig time; start its UTC by `simulated_start_utc_s`.
    papers_folder : Path or None
        Where the instruments' certificates go; None is ``papers`` beside the world file.
    artefact_ohm : float or None
        Nominal resistance of a resistor that lies beside the bench; None leaves a world as it was. [Ω]
    wall_utc_s : callable
        Wall time, to know for how long a world was put away. [s]
    pacer_over : callable
        What to put over the chips' own time; to wait on the wall as well, where jitter is measured.

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
    if artefact_ohm is not None:
        world.state.artefact_ohm = check_artefact(artefact_ohm)
    silicon = SimulatedSilicon(wiring=wiring, world=world, one_wire_folder=world_file.parent / "one-wire")
    write_papers(
        papers_folder or world_file.parent / "papers",
        seed=world.state.seed,
        probe=world.probe_law,
        box=silicon.box,
        step_ohm=wiring.decade_box.step_ohm,
        today_utc_s=clock.utc_s() or wall_utc_s(),
        artefact_ohm=world.state.artefact_ohm,
    )
    bench = SimulatedBench(
        wiring=wiring,
        clock=clock,
        silicon=silicon,
        world_file=world_file,
        wall_utc_s=wall_utc_s,
        pacer_over=pacer_over,
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
    """The bench on a Raspberry Pi. Written from library sources, never yet run on one.

    Raises
    ------
    RigError
        If this machine has not what the bench needs.
    """
    # lgpio leaves a pipe in its working directory, which may be read-only under a service.
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    below = Below(
        pin_factory=None,
        i2c_bus=kernel_i2c_bus(wiring.i2c_bus),
        one_wire_tree=KERNEL_TREE,
        pacer=RealPacer(),
        jitter=random.random,
    )
    try:
        return MetalBench(wiring=wiring, clock=clock, below=below)
    except (BadPinFactory, SPISoftwareFallback) as error:
        raise RigError(
            f"The pins of this machine cannot be driven ({error}). On a Raspberry Pi switch SPI on and "
            "install lgpio; anywhere else run the simulated bench."
        ) from error
