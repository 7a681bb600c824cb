"""The wiring file keeps its own rules, checked here by other means than the rig's."""

import re

import pytest
from gpiozero.pins.data import SPI_HARDWARE_PINS
from gpiozero.pins.pi import PiBoardInfo
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import WiringError
from rig.wiring import RangeWiring, Wiring, load_wiring, parse_wiring, wiring_file

BOARDS = {"3B": 0xA02082, "4B": 0xC03114, "5B": 0xC04170}
TEXT = wiring_file().read_text(encoding="utf-8")
WIRING = load_wiring()
RANGES = [(name, each) for name, channel in WIRING.channels.items() for each in channel.ranges]
RANGE_NAMES = [f"{name} {each.reference_ohm:g}" for name, each in RANGES]
# 0.1 % as bought, 25 ppm/K over 15 K; the converter's integral non-linearity is one code (DS21298E).
REFERENCE_SHARE = 0.001 + 25e-6 * 15
INL_CODE = 1.0


@pytest.fixture(scope="module")
def wiring() -> Wiring:
    return WIRING


def lift_ohm(name: str, each: RangeWiring) -> float:
    """Return lift, with what is put beside it."""
    lift = WIRING.channels[name].return_lift_ohm
    return lift if each.lift_beside_ohm is None else 1 / (1 / lift + 1 / each.lift_beside_ohm)


def loop(name: str, each: RangeWiring, device_ohm: float) -> list[float]:
    """Current [A] and the three taps [V], by Ohm's law around the loop from 1 V; no switch resistance."""
    current = 1.0 / (each.ballast_ohm + each.reference_ohm + device_ohm + lift_ohm(name, each))
    tap0 = 1.0 - current * each.ballast_ohm
    tap1 = tap0 - current * each.reference_ohm
    return [current, tap0, tap1, tap1 - current * device_ohm]


def span(each: RangeWiring) -> list[float]:
    """Devices from one end of the reportable span to the other, evenly in the ratio."""
    low_ohm, high_ohm = WIRING.reportable.span_ohm(each)
    ends = [ohm / (ohm + each.reference_ohm) for ohm in (low_ohm, high_ohm)]
    ratios = [ends[0] + (ends[1] - ends[0]) * step / 100 for step in range(101)]
    return [each.reference_ohm * x / (1 - x) for x in ratios]


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


def test_no_more_than_a_milliampere_flows_in_any_span_that_is_not_ordered(wiring: Wiring) -> None:
    normal = [1000 * loop(n, r, ohm)[0] for n, r in RANGES if not r.ordered_only for ohm in span(r)]
    assert max(normal) <= 1.0
    assert max(normal) > 0.9  # and the limit is made use of: resolution costs current


def test_gauge_senders_carry_ten_milliamperes_at_most_even_shorted(wiring: Wiring) -> None:
    ((name, gauge),) = [(n, r) for n, r in RANGES if r.current_limit_ma is not None]
    assert gauge.ordered_only
    assert WIRING.reportable.span_ohm(gauge) == (20.0, 600.0)
    assert 5.0 < 1000 * loop(name, gauge, 30.0)[0] < 7.0
    assert 1000 * loop(name, gauge, 0.0)[0] < 10.0
    assert (gauge.reference_ohm, gauge.ballast_ohm) == (68.0, 33.0)
    assert lift_ohm(name, gauge) == pytest.approx(33.0, abs=0.1)


@pytest.mark.parametrize(("name", "each"), RANGES, ids=RANGE_NAMES)
def test_the_worst_power_in_a_device_is_the_one_that_is_stated(name: str, each: RangeWiring) -> None:
    powers_mw = []
    for ohm in (10.0 ** (exponent / 100) for exponent in range(0, 600)):
        powers_mw.append(1000 * loop(name, each, ohm)[0] ** 2 * ohm)
    assert WIRING.worst_power_mw(name, each) == pytest.approx(max(powers_mw), rel=1e-3)
    assert max(powers_mw) < (2.0 if each.ordered_only else 0.3)


@pytest.mark.parametrize(("name", "each"), RANGES, ids=RANGE_NAMES)
def test_no_tap_reaches_the_converter_reference_in_the_reportable_span(name: str, each: RangeWiring) -> None:
    for ohm in span(each):
        _, tap0, tap1, tap2 = loop(name, each, ohm)
        codes = [4096 * tap / WIRING.converter.reference_v for tap in (tap0, tap1, tap2)]
        # largest offset, and hum, to either rail
        assert 4096 - 3 - 5 > codes[0] > codes[1] > codes[2] > 3 + 5


def wrong_ohm(name: str, each: RangeWiring, device_ohm: float, codes: tuple[int, int, int]) -> float:
    """What is shown for a device where each tap is a code off and the reference is as bad as it may be."""
    taps = [4096 * volt for volt in loop(name, each, device_ohm)[1:]]
    c0, c1, c2 = (tap + INL_CODE * code for tap, code in zip(taps, codes, strict=True))
    return each.reference_ohm * (1 + REFERENCE_SHARE) * (c1 - c2) / (c0 - c1)


@pytest.mark.parametrize(("name", "each"), RANGES, ids=RANGE_NAMES)
def test_every_range_is_within_its_stated_error_over_its_span(name: str, each: RangeWiring) -> None:
    worst = max(
        abs(wrong_ohm(name, each, ohm, (a, b, c)) / ohm - 1)
        for ohm in span(each)
        for a in (-1, 1)
        for b in (-1, 1)
        for c in (-1, 1)
    )
    assert 100 * worst <= each.stated_error_percent
    assert 100 * worst > 0.7 * each.stated_error_percent  # and it is not stated away


def test_the_cold_range_reaches_the_ice_point_of_the_probe() -> None:
    ((_, cold),) = [(n, r) for n, r in RANGES if n == "probe" and r.ordered_only]
    log_ohm = 10.3907  # ln R at 0 °C from the published coefficients: 1/273.15 = a + b L + c L³
    assert 1.129241e-3 + 2.341077e-4 * log_ohm + 8.775468e-8 * log_ohm**3 == pytest.approx(
        1 / 273.15, rel=3e-4
    )
    low_ohm, high_ohm = WIRING.reportable.span_ohm(cold)
    assert low_ohm < 32_560 < high_ohm
    assert cold.tap0 == WIRING.channels["probe"].free_ranges[0].tap0  # a chain: no input was left for it


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
        ("sender_gpio = 23", "sender_gpio = 5", "GPIO 5 wakes pulled up, which would switch it on"),
        ("excitation_gpio = 19", "excitation_gpio = 7", "GPIO 7 wakes pulled up"),
        ("[button]\ngpio = 6", "[button]\ngpio = 21", "GPIO 21 wakes pulled down"),
        ("tap2 = 6", "tap2 = 2", "converter input 2 is used twice"),
        ("tap2 = 6", "tap2 = 8", "converter input 8 does not exist"),
        ("mains_hz = 50.0", "mains_hz = 55.0", "write 50.0 or 60.0"),
        ("settle_s = 0.0025", "settle_s = 0.005", "26.0% of the time"),
        ("[1, 2, 4, 8,", "[1, 2, 2, 5,", "step_ohm must be"),
        ("reference_v = 1.00\n", "", "'reference_v' is missing"),
        ("reference_v = 1.00", 'reference_v = "one"', "wrong type"),
        ("[converter]", "[converter", "not TOML"),
        ("spi_device = 0", "spi_device = 2", "SPI port 0 with device 0 or 1"),
        ("bus = 1 ", "bus = 0 ", "write 1, the bus on the header"),
        ("i2c_address = 0x20", "i2c_address = 0x5A", "this relay chip has 0x20 to 0x27"),
        ("i2c_address = 0x5A", "i2c_address = 0x20", "share the I²C address"),
        ("i2c_address = 0x5A", "i2c_address = 0x80", "a chip has 0x08 to 0x77"),
        ("pin_limit_v = 3.3", "pin_limit_v = 5.0", "a pin of the Pi stands 3.3 V"),
        (
            "supply_v = 3.3\nspi_port",
            "supply_v = 5.0\nspi_port",
            "converter.supply_v is 5 V: 3.3 V is the most",
        ),
        ("supply_v = 3.3               # the 3 V", "supply_v = 5.0 # the 3 V", "infrared.supply_v is 5 V"),
        ("supply_v = 3.3\nstep_ohm", "supply_v = 5.0\nstep_ohm", "decade_box.supply_v is 5 V"),
        ("pull_up_v = 3.3\nbus_pf", "pull_up_v = 5.0\nbus_pf", "i2c.pull_up_v is 5 V"),
        ("pull_up_v = 3.3              # and", "pull_up_v = 5.0 # and", "one_wire.pull_up_v is 5 V"),
        ("pull_up_v = 3.3\ndebounce_s", "pull_up_v = 5.0\ndebounce_s", "button.pull_up_v is 5 V"),
        ("reference_v = 1.00", "reference_v = 0.10", "must be from 0.25 V"),
        ("stated_error_percent = 0.8", "stated_error_percent = 0.7", "0.72 % at 600 Ω, over"),
        ("inl_lsb = 1.0", "inl_lsb = 2.0", "over stated_error_percent"),
        ("tolerance_percent = 0.1", "tolerance_percent = 0.5", "over stated_error_percent"),
        ("return_lift_ohm = 220.0", "return_lift_ohm = 60.0", "within 8 codes of a rail"),
        ("current_limit_ma = 10.0", "current_limit_ma = 5.0", "6.496 mA through the device"),
        ("current_limit_ma = 10.0", "current_limit_ma = 20.0", "over 10 mA, too much for any sender"),
        ("highest_ohm = 600.0\nordered_only = true", "highest_ohm = 600.0", "must be ordered_only"),
        ("highest_ohm = 600.0\n", "highest_ohm = 10.0\n", "its span is empty"),
        ("reference_ohm = 750.0", "reference_ohm = 2700.0", "two ranges have 2700 Ω"),
        ("reference_ohm = 750.0", "reference_ohm = 60.0", "nothing measures from 340 Ω on"),
        ("buffer_limit_ma = 20.0", "buffer_limit_ma = 5.0", "with every clip shorted 7.8 mA flow"),
        ("tap_capacitor_nf = 10.0", "tap_capacitor_nf = 100.0", "its taps settle in"),
        ("tap_series_ohm = 4700.0", "tap_series_ohm = 100.0", "87.0 mA into the converter"),
        ("driver_limit_ma = 200.0", "driver_limit_ma = 50.0", "56 mA of coils on one driver"),
        ("relay_limit_ma = 1000.0", "relay_limit_ma = 500.0", "504 mA with every coil"),
        ("driver_input_ma = 1.1", "driver_input_ma = 9.0", "a pin would give 9 mA"),
        ("driver_input_ma = 1.1", "driver_input_ma = 7.9", "ask too much of the relay chip"),
        ("release_s = 0.02", "release_s = 0.2", "must rise in that order"),
        ("pull_up_ohm = 1800.0", "pull_up_ohm = 0.0", "without a pull-up the line never rises"),
        ("pull_up_ohm = 1800.0", "pull_up_ohm = 820.0", "a chip sinks 3 mA at most"),
        ("bus_pf = 200.0", "bus_pf = 800.0", "lines rise in 1220 ns"),
        ("pull_up_ohm = 4700.0", "pull_up_ohm = 470.0", "the sensor sinks 4 mA at most"),
        ("series_ohm = 470.0", "series_ohm = 47.0", "light: 29.8 mA"),
        ("series_ohm = 470.0", "series_ohm = 0.0", "must limit the current"),
    ],
)
def test_a_wiring_file_that_breaks_a_rule_is_refused_in_words(old: str, new: str, words: str) -> None:
    assert old in TEXT
    with pytest.raises(WiringError, match=re.escape(words)):
        parse_wiring(TEXT.replace(old, new, 1))


@given(
    st.sampled_from(["sender_gpio = 23", "excitation_gpio = 17", "[light]\ngpio = 26"]), st.integers(-5, 40)
)
def test_a_pin_is_taken_only_where_it_is_free_on_the_header_and_wakes_low(line: str, gpio: int) -> None:
    number = line.split()[-1]
    others = {pin for _, pin in WIRING.pins() if pin != int(number)}
    text = TEXT.replace(line, line.replace(number, str(gpio)), 1)
    if 9 <= gpio <= 27 and gpio not in others:
        parse_wiring(text)
    else:
        with pytest.raises(WiringError, match=f"GPIO {gpio}"):
            parse_wiring(text)


@given(st.floats(10.0, 400.0))
def test_a_ballast_is_taken_only_where_a_milliampere_is_not_passed(ballast_ohm: float) -> None:
    text = TEXT.replace("ballast_ohm = 68.0 ", f"ballast_ohm = {ballast_ohm} ", 1)
    low_ohm = 750 * 0.15 / 0.85
    if 1000.0 / (ballast_ohm + 750.0 + low_ohm + 51.0) > 1.0:
        with pytest.raises(WiringError, match="mA through the device"):
            parse_wiring(text)
    else:
        try:
            parse_wiring(text)
        except WiringError as error:  # a large one costs counts, and so accuracy
            assert "over stated_error_percent" in str(error)


def test_a_wiring_file_that_is_not_there_is_named(tmp_path) -> None:
    with pytest.raises(WiringError, match=r"nowhere\.toml"):
        load_wiring(tmp_path / "nowhere.toml")
