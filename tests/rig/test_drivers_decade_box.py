"""The decade box through its port expander, and the relays that move it."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.readings import Insertion
from rig.drivers.decade_box import DecadeBox
from rig.drivers.insertion import InsertionRelays
from rig.drivers.port_expander import PortExpander
from rig.errors import DecadeBoxSettingError, OrderRefused, RelayError
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


def test_the_box_breaks_before_it_makes() -> None:
    events: list[object] = []
    factory = SimulatedPinFactory(
        chip=ConverterChip(lambda command: 0), pin_changed=lambda gpio, high: events.append((gpio, high))
    )
    relays = InsertionRelays(wiring=WIRING.insertion, pacer=RecordingPacer(events), pin_factory=factory)
    sender, probe = WIRING.insertion.sender_gpio, WIRING.insertion.probe_gpio
    relays.set_insertion(Insertion.SENDER)
    relays.set_insertion(Insertion.PROBE)
    relays.set_insertion(Insertion.NONE)
    assert events == ["wait", (sender, True), (sender, False), "wait", (probe, True), (probe, False)]
    relays.close()
    factory.close()


@pytest.mark.parametrize("insertion", [Insertion.SERIES, Insertion.PARALLEL])
def test_places_without_relays_are_refused_and_nothing_moves(insertion: Insertion) -> None:
    events: list[object] = []
    factory = SimulatedPinFactory(
        chip=ConverterChip(lambda command: 0), pin_changed=lambda gpio, high: events.append((gpio, high))
    )
    relays = InsertionRelays(wiring=WIRING.insertion, pacer=RecordingPacer([]), pin_factory=factory)
    relays.set_insertion(Insertion.SENDER)
    events.clear()
    with pytest.raises(OrderRefused, match="no relays to put the decade box in"):
        relays.set_insertion(insertion)
    assert events == []
    assert relays.insertion is Insertion.SENDER
    relays.close()
    factory.close()
