"""The simulated circuit: which excitation and relays are on decides what stands at each converter input."""

import math
from dataclasses import dataclass

from rig.sim.board import Board, RealChannel, RealDecadeBox
from rig.sim.world import World
from rig.wiring import InsertionWiring

FULL_SCALE = 4096.0
INPUTS = 8
OPEN_OHM = 1e12


@dataclass(slots=True)
class PassTime:
    """Time within a pass, on top of the clock that stands still meanwhile.

    Attributes
    ----------
    began_s : float
        Rig time of the pass. [s]
    offset_s : float
        What drivers have waited since. [s]
    """

    began_s: float = 0.0
    offset_s: float = 0.0


class SimulatedPacer:
    """Moves the pass time instead of waiting."""

    __slots__ = ("_interval_s", "_time")

    def __init__(self, time: PassTime) -> None:
        self._time = time
        self._interval_s = 0.0

    def wait(self, duration_s: float) -> None:
        """Move by ``duration_s``. [s]"""
        self._time.offset_s += duration_s

    def start(self, interval_s: float) -> None:
        """Begin a row of slots now."""
        self._interval_s = interval_s

    def next(self) -> None:
        """Move on by one slot."""
        self._time.offset_s += self._interval_s


class Circuit:
    """Node voltages in counts of the reference, worked out once for each configuration.

    Parameters
    ----------
    board : Board
        What is soldered in.
    box : RealDecadeBox
        The decade box.
    insertion : InsertionWiring
        Pins of the insertion relays.
    world : World
        What the clips hold; it is told the electrical heat.
    time : PassTime
        For how long current flowed.
    """

    def __init__(
        self, *, board: Board, box: RealDecadeBox, insertion: InsertionWiring, world: World, time: PassTime
    ) -> None:
        self._board = board
        self._box = box
        self._insertion = insertion
        self._world = world
        self._time = time
        self._high_pins: set[int] = set()
        self._open_contacts = 0
        self._levels: list[float] | None = None
        self._sender_w = 0.0
        self._probe_w = 0.0
        self._since_s = 0.0

    @property
    def levels(self) -> list[float]:
        """Voltage at each converter input. [count of full scale]"""
        levels = self._levels
        if levels is None:
            levels = self._levels = self._solve()
        return levels

    def begin_pass(self) -> None:
        """The world has moved on: the devices have other resistances now."""
        self._time.offset_s = self._since_s = 0.0
        self._levels = None

    def pin_changed(self, gpio: int, high: bool) -> None:
        """Take note of an output pin."""
        self._account_for_heat()
        if high:
            self._high_pins.add(gpio)
        else:
            self._high_pins.discard(gpio)
        self._settle_power()

    def box_relays_changed(self, open_contacts: int) -> None:
        """Take note of the decade box's relays; a bit is an open contact."""
        self._account_for_heat()
        self._open_contacts = open_contacts
        self._settle_power()

    @property
    def board_c(self) -> float:
        """Temperature of the board. [°C]"""
        return self._world.state.bath.room_c + self._board.above_room_k

    def _settle_power(self) -> None:
        self._levels = None
        if self._high_pins:
            self._levels = self._solve()
        else:
            self._sender_w = self._probe_w = 0.0

    def _account_for_heat(self) -> None:
        span_s = self._time.offset_s - self._since_s
        self._since_s = self._time.offset_s
        if span_s > 0:
            self._world.heat.sender_j += self._sender_w * span_s
            self._world.heat.probe_j += self._probe_w * span_s

    def _solve(self) -> list[float]:
        levels = [0.0] * INPUTS
        channels = self._board.channels
        in_sender = self._insertion.sender_gpio in self._high_pins
        in_probe = self._insertion.probe_gpio in self._high_pins
        sender_w = self._channel(channels["sender"], None if in_sender else self._world.sender_ohm, levels)
        probe_w = self._channel(channels["probe"], None if in_probe else self._world.probe_ohm, levels)
        # Heat in the box does not warm what hangs in the bath.
        self._sender_w = 0.0 if in_sender else sender_w
        self._probe_w = 0.0 if in_probe else probe_w
        return levels

    def _channel(self, channel: RealChannel, device_ohm: float | None, levels: list[float]) -> float:
        """Fill in the levels of one channel; gives the power in the device. [W]

        Parameters
        ----------
        device_ohm : float or None
            Resistance at the clips, or None where the decade box stands in its place. [Ω]
        """
        board_c = self.board_c
        if device_ohm is None:
            device_ohm = self._box.resistance_ohm(self._open_contacts, board_c)
        seen_ohm = min(device_ohm + channel.clips_ohm, OPEN_OHM)
        feeding = [each for each in channel.ranges if each.excitation_gpio in self._high_pins]
        if not feeding:
            return 0.0
        below = 1.0 / (seen_ohm + channel.lift_ohm)
        above = [1.0 / (each.above_tap0_ohm + each.reference.at(board_c)) for each in feeding]
        tap1 = sum(above) / (sum(above) + below)
        current = tap1 * below
        for each in channel.ranges:
            levels[each.tap0] = FULL_SCALE * tap1  # no current in a range that is switched off
        for each, conductance in zip(feeding, above, strict=True):
            levels[each.tap0] = FULL_SCALE * (1.0 - (1.0 - tap1) * conductance * each.above_tap0_ohm)
        levels[channel.tap1] = FULL_SCALE * tap1
        levels[channel.tap2] = FULL_SCALE * current * channel.lift_ohm
        return current * current * device_ohm if math.isfinite(device_ohm) else 0.0
