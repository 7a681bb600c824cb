"""The simulated circuit: which excitation and relays are on decides what stands at each converter input."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rig.sim.board import Board, RealChannel, RealDecadeBox, RealRange
from rig.sim.plants import ChipEffects
from rig.sim.world import World
from rig.wiring import InsertionWiring, Wiring

FULL_SCALE = 4096.0
INPUTS = 8
OPEN_OHM = 1e12


@dataclass(slots=True)
class PassTime:
    """Time within a pass, for the clock stands still meanwhile.

    Attributes
    ----------
    now_s : float
        Rig time at which the pass began, and what drivers have waited since. [s]
    """

    now_s: float = 0.0


class SimulatedPacer:
    """Moves the pass time instead of waiting."""

    __slots__ = ("_interval_s", "_time")

    def __init__(self, time: PassTime) -> None:
        self._time = time
        self._interval_s = 0.0

    def now_s(self) -> float:
        """Time within the pass. [s]"""
        return self._time.now_s

    def wait(self, duration_s: float) -> None:
        """Move by ``duration_s``. [s]"""
        self._time.now_s += duration_s

    def start(self, interval_s: float) -> None:
        """Begin a row of slots now."""
        self._interval_s = interval_s

    def next(self) -> None:
        """Move on by one slot."""
        self._time.now_s += self._interval_s


class Relays:
    """Contacts of the insertion relays and of the decade box, as pins and faults leave them.

    Parameters
    ----------
    wiring : Wiring
        Pins of the places, steps of the box.
    """

    def __init__(self, wiring: Wiring) -> None:
        insertion: InsertionWiring = wiring.insertion
        self.gpio_of_place = (
            insertion.sender_gpio,
            insertion.probe_gpio,
            insertion.series_gpio,
            insertion.parallel_gpio,
        )
        self._bit_of_step = {float(ohm): 1 << bit for bit, ohm in enumerate(wiring.decade_box.step_ohm)}
        self._driven_box = 0
        self._driven_places: set[int] = set()
        self._faults = ChipEffects()
        self.take(self._faults)

    def take(self, faults: ChipEffects) -> None:
        """Let faults into the contacts."""
        self._faults = faults
        self.drive_box(self._driven_box)
        self._settle_places()

    def drive_box(self, bits: int) -> None:
        """Pull in the box's relays; a bit is an open contact."""
        self._driven_box = bits
        welded = self._bit_of_step.get(self._faults.box_relay_stays_closed, 0)
        stuck = self._bit_of_step.get(self._faults.box_relay_stays_open, 0)
        self.open_contacts = (bits & ~welded) | stuck

    def drive_place(self, gpio: int, high: bool) -> None:
        """Pull in or let go the relays of one place."""
        if high:
            self._driven_places.add(gpio)
        else:
            self._driven_places.discard(gpio)
        self._settle_places()

    def _settle_places(self) -> None:
        dead, welded = int(self._faults.place_never_closes), int(self._faults.place_never_opens)
        sender, probe, series, parallel = (
            (gpio in self._driven_places and number != dead) or number == welded
            for number, gpio in enumerate(self.gpio_of_place, start=1)
        )
        self.in_sender, self.in_probe, self.in_series, self.in_parallel = sender, probe, series, parallel


class Circuit:
    """Node voltages in counts of the reference, worked out once for each configuration.

    Parameters
    ----------
    board : Board
        What is soldered in.
    box : RealDecadeBox
        The decade box.
    wiring : Wiring
        Pins of relays and switches; other pins do nothing here.
    world : World
        What the clips hold; it is told the electrical heat.
    time : PassTime
        For how long current flowed.
    noise : iterator of float
        Chatter of worn contacts.
    """

    def __init__(
        self,
        *,
        board: Board,
        box: RealDecadeBox,
        wiring: Wiring,
        world: World,
        time: PassTime,
        noise: Iterator[float],
    ) -> None:
        self._board = board
        self._box = box
        self._world = world
        self._time = time
        self._noise = noise
        self.relays = Relays(wiring)
        self._excitation = {each.excitation_gpio for ch in wiring.channels.values() for each in ch.ranges}
        self._faults = ChipEffects()
        self._fed: set[int] = set()
        self._moved_s = -math.inf
        self.solved: list[float] | None = None
        self._sender_w = 0.0
        self._probe_w = 0.0
        self._since_s = 0.0

    def levels(self) -> list[float]:
        """Voltage at each converter input. [count of full scale]"""
        if self.solved is None:
            self.solved = self._solve()
        return self.solved

    def take(self, faults: ChipEffects) -> None:
        """Let faults into the circuit."""
        self._faults = faults
        self.relays.take(faults)
        self.solved = None

    def begin_pass(self, now_s: float) -> None:
        """The world is about to move on to ``now_s``: excitation that was left on has warmed it. [s]"""
        if self._fed:
            self._time.now_s = max(self._time.now_s, now_s)
            self._account_for_heat()
        self._time.now_s = self._since_s = now_s
        self.solved = None

    def pin_changed(self, gpio: int, high: bool) -> None:
        """Take note of an output pin."""
        if gpio in self._excitation:
            self._account_for_heat()
            if high:
                self._fed.add(gpio)
            else:
                self._fed.discard(gpio)
        elif gpio in self.relays.gpio_of_place:
            self._account_for_heat()
            self.relays.drive_place(gpio, high)
            self._moved_s = self._time.now_s
        else:
            return
        self._settle_power()

    def box_relays_changed(self, open_contacts: int) -> None:
        """Take note of the decade box's relays; a bit is an open contact."""
        self._account_for_heat()
        self.relays.drive_box(open_contacts)
        self._settle_power()

    @property
    def board_c(self) -> float:
        """Temperature of the board. [°C]"""
        return self._world.state.bath.room_c + self._board.above_room_k

    def _settle_power(self) -> None:
        self.solved = None
        if self._fed:
            self.solved = self._solve()
        else:
            self._sender_w = self._probe_w = 0.0

    def _account_for_heat(self) -> None:
        span_s = self._time.now_s - self._since_s
        self._since_s = self._time.now_s
        if span_s > 0:
            self._world.heat.sender_j += self._sender_w * span_s
            self._world.heat.probe_j += self._probe_w * span_s

    def _solve(self) -> list[float]:
        levels = [0.0] * INPUTS
        self._sender_w = self._solve_sender(levels)
        self._probe_w = self._solve_probe(levels)
        return levels

    def _solve_sender(self, levels: list[float]) -> float:
        """Fill in the sender's channel; power in the sender itself. [W]"""
        channel, relays = self._board.channels["sender"], self.relays
        fed = self._fed_range(channel)
        if fed is None:
            return 0.0
        if relays.in_sender:
            self._level(channel, fed, self._chattering(self._box_ohm()), levels)
            return 0.0  # heat in the box does not warm what hangs in the bath
        sender_ohm = seen_ohm = self._world.sender_ohm
        if relays.in_parallel:
            box_ohm = self._box_ohm() + channel.contact_ohm
            seen_ohm = box_ohm if math.isinf(sender_ohm) else sender_ohm * box_ohm / (sender_ohm + box_ohm)
        if relays.in_series:
            seen_ohm += self._box_ohm() + channel.contact_ohm
        current_a = self._level(channel, fed, seen_ohm, levels)
        if math.isinf(sender_ohm):
            return 0.0
        if relays.in_parallel:
            current_a *= box_ohm / (sender_ohm + box_ohm)
        return current_a * current_a * sender_ohm

    def _solve_probe(self, levels: list[float]) -> float:
        """Fill in the probe's channel; power in the probe itself. [W]"""
        channel = self._board.channels["probe"]
        fed = self._fed_range(channel)
        if fed is None:
            return 0.0
        if self.relays.in_probe:
            self._level(channel, fed, self._box_ohm(), levels)
            return 0.0
        probe_ohm = math.inf if self._faults.probe_open else self._world.probe_ohm
        current_a = self._level(channel, fed, probe_ohm, levels)
        return 0.0 if math.isinf(probe_ohm) else current_a * current_a * probe_ohm

    def _fed_range(self, channel: RealChannel) -> RealRange | None:
        """The range that is excited; the drivers excite one at a time."""
        for each in channel.ranges:
            if each.excitation_gpio in self._fed:
                dead = self._faults.excitation_dead == each.nominal_ohm
                return None if dead and channel is self._board.channels["sender"] else each
        return None

    def _box_ohm(self) -> float:
        return self._box.resistance_ohm(self.relays.open_contacts, self.board_c)

    def _chattering(self, box_ohm: float) -> float:
        """Sender relay's contacts while they bounce: some of the time they touch badly. [Ω]"""
        if self._time.now_s - self._moved_s < self._faults.relay_bounce_s:
            return box_ohm + 200.0 * abs(next(self._noise))
        return box_ohm

    def _reference_ohm(self, channel: RealChannel, each: RealRange) -> float:
        is_sender = channel is self._board.channels["sender"]
        share = self._faults.reference_off if is_sender else self._faults.probe_reference_off
        reference_ohm = each.reference_at(self.board_c)
        if share and (each.nominal_ohm == 2700.0 or each.chain is not None):
            reference_ohm += share * 2700.0
        return reference_ohm

    def _level(self, channel: RealChannel, fed: RealRange, device_ohm: float, levels: list[float]) -> float:
        """Fill in the levels of one channel; gives the current through its clips, in units of 1 V. [A]

        Parameters
        ----------
        device_ohm : float
            What stands at the clips: device, box, or both. [Ω]
        """
        seen_ohm = min(device_ohm + channel.clips_ohm, OPEN_OHM)
        reference_ohm = self._reference_ohm(channel, fed)
        current_a = 1.0 / (fed.above_tap0_ohm + reference_ohm + seen_ohm + fed.lift_ohm)
        tap1 = FULL_SCALE * current_a * (seen_ohm + fed.lift_ohm)
        for each in channel.ranges:
            levels[each.tap0] = tap1  # no current in the reference of a range that is switched off
        # last: in a chain, an upper top tap shows the top of the lower range
        levels[fed.tap0] = FULL_SCALE * (1.0 - current_a * fed.above_tap0_ohm)
        levels[channel.tap1] = tap1
        levels[channel.tap2] = FULL_SCALE * current_a * fed.lift_ohm
        return current_a
