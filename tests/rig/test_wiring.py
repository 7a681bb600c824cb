"""The wiring file keeps its own rules, checked here by other means than the rig's."""

import re

import pytest
from gpiozero.pins.data import SPI_HARDWARE_PINS
from gpiozero.pins.pi import PiBoardInfo

from rig.errors import WiringError
from rig.wiring import Wiring, load_wiring, parse_wiring, wiring_file

BOARDS = {"3B": 0xA02082, "4B": 0xC03114, "5B": 0xC04170}
TEXT = wiring_file().read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def wiring() -> Wiring:
    return load_wiring()


def loop(reference_ohm: float, ballast_ohm: float, lift_ohm: float, device_ohm: float) -> list[float]:
    """Current [A] and the three taps [V], by Ohm's law around the loop from 1 V; no switch resistance."""
    current = 1.0 / (ballast_ohm + reference_ohm + device_ohm + lift_ohm)
    tap0 = 1.0 - current * ballast_ohm
    tap1 = tap0 - current * reference_ohm
    return [current, tap0, tap1, tap1 - current * device_ohm]


def cases(wiring: Wiring) -> list[tuple[float, float, float, float]]:
    found = []
    for channel in wiring.channels.values():
        for each in channel.ranges:
            x_span = (wiring.reportable.lowest_x, wiring.reportable.highest_x)
            ends = [each.reference_ohm * x / (1 - x) for x in x_span]
            for step in range(101):
                device_ohm = ends[0] + (ends[1] - ends[0]) * step / 100
                found.append((each.reference_ohm, each.ballast_ohm, channel.return_lift_ohm, device_ohm))
    return found


@pytest.mark.parametrize("board", BOARDS)
def test_every_pin_is_a_gpio_of_the_header(wiring: Wiring, board: str) -> None:
    header = PiBoardInfo.from_revision(BOARDS[board]).headers["J8"]
    on_header = {pin.name for pin in header.pins.values() if "gpio" in pin.interfaces}
    for use, gpio in wiring.pins():
        assert f"GPIO{gpio}" in on_header, use


def test_no_pin_serves_two_masters(wiring: Wiring) -> None:
    gpios = [gpio for _, gpio in wiring.pins()]
    assert len(gpios) == len(set(gpios))


def test_converter_and_bus_sit_on_the_hardware_ports(wiring: Wiring) -> None:
    port = SPI_HARDWARE_PINS[wiring.converter.spi_port]
    uses = [(use, gpio) for use, gpio in wiring.pins()]
    spi = {f"GPIO{gpio}" for use, gpio in uses if use == "SPI"}
    assert spi == {
        port["clock"],
        port["mosi"],
        port["miso"],
        port["select"][wiring.converter.spi_device],
    }
    header = PiBoardInfo.from_revision(BOARDS["4B"]).headers["J8"]
    i2c = {pin.name for pin in header.pins.values() if pin.pull == "up"}  # the header's own bus pull-ups
    assert {f"GPIO{gpio}" for use, gpio in uses if use == "I²C"} == i2c


def test_no_more_than_a_milliampere_flows_anywhere_in_the_reportable_span(wiring: Wiring) -> None:
    currents_ma = [1000 * loop(*case)[0] for case in cases(wiring)]
    assert max(currents_ma) <= 1.0
    assert max(currents_ma) > 0.9  # and the limit is made use of: resolution costs current


def test_no_tap_reaches_the_converter_reference_in_the_reportable_span(wiring: Wiring) -> None:
    for case in cases(wiring):
        _, tap0, tap1, tap2 = loop(*case)
        codes = [4096 * tap / wiring.converter.reference_v for tap in (tap0, tap1, tap2)]
        assert (
            4096 - 3 - 5 > codes[0] > codes[1] > codes[2] > 3 + 5
        )  # largest offset, and hum, to either rail


def test_a_device_carries_current_for_a_quarter_of_the_time_at_most(wiring: Wiring) -> None:
    per_pass_s = wiring.sampling.settle_s + wiring.sampling.window_s
    assert per_pass_s / 0.25 <= 0.25 + 1e-9
    conversions = 3 * wiring.sampling.rounds * (wiring.sampling.block + wiring.sampling.discard)
    assert conversions * wiring.sampling.interval_s == pytest.approx(wiring.sampling.window_s)
    assert wiring.sampling.rounds * wiring.sampling.block == 64


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_the_window_is_whole_mains_cycles_in_either_country(mains_hz: float) -> None:
    wiring = parse_wiring(TEXT.replace("mains_hz = 50.0", f"mains_hz = {mains_hz}"))
    cycles = wiring.sampling.window_s * mains_hz
    assert cycles == pytest.approx(round(cycles))
    assert cycles >= 2


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("ballast_ohm = 68.0", "ballast_ohm = 51.0", "1.016 mA"),
        ("excitation_gpio = 27", "excitation_gpio = 17", "GPIO 17 is used twice"),
        ("sender_gpio = 23", "sender_gpio = 9", "GPIO 9 is used twice"),
        ("sender_gpio = 23", "sender_gpio = 28", "not on the header"),
        ("tap2 = 6", "tap2 = 2", "converter input 2 is used twice"),
        ("tap2 = 6", "tap2 = 8", "converter input 8 does not exist"),
        ("mains_hz = 50.0", "mains_hz = 55.0", "write 50.0 or 60.0"),
        ("settle_s = 0.0025", "settle_s = 0.005", "26.0% of the time"),
        ("[1, 2, 4, 8,", "[1, 2, 2, 5,", "step_ohm must be"),
        ("reference_v = 1.00\n", "", "'reference_v' is missing"),
        ("reference_v = 1.00", 'reference_v = "one"', "wrong type"),
        ("[converter]", "[converter", "not TOML"),
    ],
)
def test_a_wiring_file_that_breaks_a_rule_is_refused_in_words(old: str, new: str, words: str) -> None:
    assert old in TEXT
    with pytest.raises(WiringError, match=re.escape(words)):
        parse_wiring(TEXT.replace(old, new, 1))


def test_a_wiring_file_that_is_not_there_is_named(tmp_path) -> None:
    with pytest.raises(WiringError, match=r"nowhere\.toml"):
        load_wiring(tmp_path / "nowhere.toml")
