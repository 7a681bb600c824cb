"""All simulated chips of one bench, wired to one world: what the unmodified drivers find below them."""

from pathlib import Path

from rig.sim.board import Board, RealDecadeBox, draw_thresholds
from rig.sim.chance import generator, normal_numbers
from rig.sim.circuit import Circuit, PassTime, SimulatedPacer
from rig.sim.converter_chip import ConverterChip, ConverterCore
from rig.sim.expander_chip import PortExpanderChip
from rig.sim.i2c_bus import SimulatedI2CBus
from rig.sim.infrared_chip import InfraredChip
from rig.sim.one_wire_tree import OneWireTree, witness_fault
from rig.sim.pins import SimulatedPinFactory
from rig.sim.plants import Plant, chip_effects_of
from rig.sim.world import World
from rig.wiring import Wiring


class SimulatedSilicon:
    """Chips, pins and buses over a world.

    Parameters
    ----------
    wiring : Wiring
        As the drivers have it.
    world : World
        What the chips measure.
    one_wire_folder : Path
        Where the 1-wire tree is shown; made if need be.

    Attributes
    ----------
    pin_factory, i2c_bus, pacer
        What the drivers are handed.
    infrared_chip, one_wire
        Where a test plants a chip's fault.
    """

    def __init__(self, *, wiring: Wiring, world: World, one_wire_folder: Path) -> None:
        seed, waking = world.state.seed, world.state.wakings
        self.world = world
        self.board = Board.draw(generator(seed, "board"), wiring)
        self.box = RealDecadeBox.draw(generator(seed, "decade_box"), wiring.decade_box.step_ohm)
        self._time = PassTime()
        self.pacer = SimulatedPacer(self._time)
        noise = normal_numbers(generator(seed, "noise", waking))
        self.circuit = Circuit(
            board=self.board,
            box=self.box,
            wiring=wiring,
            world=world,
            time=self._time,
            noise=normal_numbers(generator(seed, "contact", waking, 1)),
        )
        self._core = ConverterCore(
            circuit=self.circuit,
            thresholds=draw_thresholds(generator(seed, "converter")),
            noise=noise,
            time=self._time,
            mains_hz=self.board.mains_hz,
            hum_count=self.board.hum_count,
        )
        self.pin_factory = SimulatedPinFactory(
            chip=ConverterChip(self._core.convert), pin_changed=self.circuit.pin_changed
        )
        self.infrared_chip = InfraredChip(
            body_c=lambda: world.infrared_body_c,
            target_c=lambda cell: world.infrared_target_c(cell=cell, normal=next(noise)),
            emissivity=wiring.infrared.emissivity,
            address=wiring.infrared.i2c_address,
        )
        self._wiring = wiring
        self._expander = PortExpanderChip(self.circuit.box_relays_changed)
        self.i2c_bus = SimulatedI2CBus(
            {
                wiring.decade_box.i2c_address: self._expander,
                wiring.infrared.i2c_address: self.infrared_chip,
            }
        )
        self.one_wire = OneWireTree(one_wire_folder)
        self._planted: Plant | None = None
        self._button_sticks = False
        self.take_plant()

    def take_plant(self) -> None:
        """Let the fault that the world holds for the bench's own parts into the chips."""
        plant = self.world.state.bench_plant
        if plant == self._planted:
            return
        self._planted = plant
        faults = chip_effects_of(plant)
        self.circuit.take(faults)
        self._core.take(faults)
        self._expander.forgets = bool(faults.box_forgets)
        self.infrared_chip.take(faults)
        self.one_wire.fault = witness_fault(faults)
        box, infrared = self._wiring.decade_box.i2c_address, self._wiring.infrared.i2c_address
        self.i2c_bus.silent = {
            address
            for address, silent in ((box, faults.box_missing), (infrared, faults.infrared_missing))
            if silent
        }
        self.i2c_bus.stretching = {infrared} if faults.infrared_timeout else set()
        self._button_sticks = bool(faults.button_stuck)
        self._set_button(self._button_sticks)

    def press_button(self) -> None:
        """Press the bench button and let it go, as quickly as a finger."""
        self._set_button(True)
        self._set_button(False)

    def _set_button(self, pressed: bool) -> None:
        pin = self.pin_factory.pin(self._wiring.button.gpio)
        if pressed:
            pin.drive_low()
        else:
            pin.drive_high()

    def begin_pass(self, now_s: float) -> None:
        """Bring the world up to ``now_s`` and let the chips see it. [s]"""
        if self._button_sticks:
            self._set_button(True)  # whatever pull-up a driver has meanwhile put on
        self.circuit.begin_pass(now_s)
        self.world.advance(now_s)

    def close(self) -> None:
        """Let go of the pins."""
        self.pin_factory.close()
