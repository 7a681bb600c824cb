"""The decade box through its port expander, and the relays that move it."""

import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.readings import Insertion
from rig.drivers.decade_box import DecadeBox
from rig.drivers.insertion import InsertionRelays
from rig.drivers.port_expander import PortExpander
from rig.errors import DecadeBoxSettingError, RelayError
from rig.sim.converter_chip import ConverterChip
from rig.sim.expander_chip import PortExpanderChip
from rig.sim.i2c_bus import SimulatedI2CBus
from rig.sim.pins import SimulatedPinFactory
from rig.wiring import load_wiring

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "mcp23017.toml").read_text("utf-8"))
WIRING = load_wiring()
ADDRESS = WIRING.decade_box.i2c_address
STEPS = WIRING.decade_box.step_ohm


class Relays:
    """Sixteen relay coils on the chip's pins."""

    def __init__(self) -> None:
        self.history: list[int] = []
        self.chip = PortExpanderChip(self.history.append)
        self.bus = SimulatedI2CBus({ADDRESS: self.chip})
        self.box = DecadeBox(expander=PortExpander(bus=self.bus, address=ADDRESS), step_ohm=STEPS)

    def resistance_ohm(self) -> float:
        """Sum of the resistors whose contact is open."""
        return sum(ohm for bit, ohm in enumerate(STEPS) if self.chip.driven_high >> bit & 1)


def register(chip: PortExpanderChip, address: int) -> int:
    chip.write(bytes((address,)))
    return chip.read(1)[0]


def test_the_chip_wakes_as_its_data_sheet_says() -> None:
    chip = PortExpanderChip(lambda outputs: None)
    for name in ("iodira", "iodirb"):
        assert register(chip, PUBLISHED[name]) == PUBLISHED["iodir_after_power_on"]
    for name in ("olata", "olatb", "gpioa", "gpiob"):
        assert register(chip, PUBLISHED[name]) == PUBLISHED["olat_after_power_on"]


def test_the_driver_sets_direction_and_latch_at_the_published_addresses() -> None:
    relays = Relays()
    relays.box.set_resistance(4700)
    assert register(relays.chip, PUBLISHED["iodira"]) == register(relays.chip, PUBLISHED["iodirb"]) == 0
    assert register(relays.chip, PUBLISHED["olata"]) == 0x00
    assert register(relays.chip, PUBLISHED["olatb"]) == 0x47


@given(st.integers(0, 9999))
def test_the_relays_add_up_to_what_was_asked_for(resistance_ohm: int) -> None:
    relays = Relays()
    relays.box.set_resistance(float(resistance_ohm))
    assert relays.resistance_ohm() == resistance_ohm
    assert relays.box.resistance_ohm == resistance_ohm


@pytest.mark.parametrize("resistance_ohm", [-1.0, 10_000.0, 0.5, 1234.56, float("nan"), float("inf")])
def test_a_setting_off_the_grid_is_refused_and_changes_nothing(resistance_ohm: float) -> None:
    relays = Relays()
    relays.box.set_resistance(470.0)
    with pytest.raises(DecadeBoxSettingError, match="0 to 9999 Ω in 1 Ω steps"):
        relays.box.set_resistance(resistance_ohm)
    assert relays.resistance_ohm() == relays.box.resistance_ohm == 470.0


def test_no_relay_moves_while_the_chip_is_set_up() -> None:
    relays = Relays()
    relays.chip.write(bytes((PUBLISHED["olata"], 0xFF, 0xFF)))  # left over from a rig that was killed
    relays.history.clear()
    relays.box.off()
    assert relays.history == []
    assert relays.chip.driven_high == 0


def test_a_box_without_supply_says_so_and_its_setting_is_not_known() -> None:
    relays = Relays()
    relays.box.set_resistance(100.0)
    del relays.bus.chips[ADDRESS]
    with pytest.raises(RelayError, match="No answer from the relay chip at 0x20"):
        relays.box.set_resistance(200.0)
    assert not relays.box.known


def test_a_chip_that_forgets_is_found_out() -> None:
    relays = Relays()
    relays.box.set_resistance(100.0)
    relays.bus.chips[ADDRESS] = DeafChip()
    with pytest.raises(RelayError, match="holds 0000000000000000 where"):
        relays.box.set_resistance(200.0)


class DeafChip:
    """Answers, and keeps nothing."""

    def write(self, data: bytes) -> None:
        pass

    def read(self, count: int) -> bytes:
        return bytes(count)


class RecordingPacer:
    """Notes when a driver waits."""

    def __init__(self, events: list[object]) -> None:
        self._events = events

    def wait(self, duration_s: float) -> None:
        self._events.append("wait")

    def start(self, interval_s: float) -> None:
        pass

    def next(self) -> None:
        pass


PLACES = {
    Insertion.SENDER: WIRING.insertion.sender_gpio,
    Insertion.PROBE: WIRING.insertion.probe_gpio,
    Insertion.SERIES: WIRING.insertion.series_gpio,
    Insertion.PARALLEL: WIRING.insertion.parallel_gpio,
}


class InsertionBoard:
    """The insertion relays over pins that write down what they do."""

    def __init__(self) -> None:
        self.events: list[object] = []
        self.factory = SimulatedPinFactory(
            chip=ConverterChip(lambda command: 0),
            pin_changed=lambda gpio, high: self.events.append((gpio, high)),
        )
        self.relays = InsertionRelays(
            wiring=WIRING.insertion,
            release_s=WIRING.relay.release_s,
            pacer=RecordingPacer(self.events),
            pin_factory=self.factory,
        )

    def close(self) -> None:
        self.relays.close()
        self.factory.close()


@pytest.fixture
def board() -> Iterator[InsertionBoard]:
    made = InsertionBoard()
    yield made
    made.close()


def test_the_box_breaks_before_it_makes(board: InsertionBoard) -> None:
    for place in (Insertion.SENDER, Insertion.SERIES, Insertion.NONE):
        board.relays.set_insertion(place)
    sender, series = PLACES[Insertion.SENDER], PLACES[Insertion.SERIES]
    assert board.events == ["wait", (sender, True), (sender, False), "wait", (series, True), (series, False)]


def test_each_place_closes_its_own_relay_and_says_which_channel_it_changes(board: InsertionBoard) -> None:
    channels = []
    for place, gpio in PLACES.items():
        board.relays.set_insertion(place)
        assert board.relays.insertion is place
        assert [pin.info.name for pin in board.factory.pins.values() if pin.state] == [f"GPIO{gpio}"]
        channels.append(board.relays.channel)
    assert channels == ["sender", "probe", "sender", "sender"]
    board.relays.off()
    assert board.relays.channel is None


@given(st.lists(st.one_of(st.sampled_from(Insertion), st.just("off"))))
def test_no_sequence_closes_two_places_or_one_without_a_wait(places: list[Insertion | str]) -> None:
    board = InsertionBoard()
    for place in places:
        if isinstance(place, Insertion):
            board.relays.set_insertion(place)
        else:
            board.relays.off()
    board.close()
    closed: set[int] = set()
    waited = True
    for event in board.events:
        if event == "wait":
            waited = True
            continue
        gpio, high = event
        if high:
            assert not closed
            assert waited
            closed.add(gpio)
        else:
            closed.discard(gpio)
            waited = False
    assert not closed
