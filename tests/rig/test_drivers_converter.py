"""gpiozero's converter driver, unmodified, over two models of the chip: whole transfers, and bit by bit."""

import math
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from gpiozero import MCP3208, Device
from gpiozero.pins.mock import MockFactory
from hypothesis import given
from hypothesis import strategies as st

from rig.drivers.converter import TapConverter
from rig.drivers.pacing import RealPacer
from rig.sim.bit_converter import BitConverter
from rig.sim.converter_chip import Command, ConverterChip
from rig.sim.pins import SimulatedPinFactory
from rig.wiring import load_wiring

FRAMING = tomllib.loads((Path(__file__).parent / "published" / "mcp3208.toml").read_text("utf-8"))["framing"]
CODES = [0, 1, 2047, 2048, 2730, 1365, 4094, 4095]
WIRING = load_wiring().converter


def code_of(command: Command) -> int:
    return CODES[command.channel] if command.single_ended else 4095 - CODES[command.channel]


@pytest.fixture
def bit_by_bit(monkeypatch: pytest.MonkeyPatch) -> Iterator[MockFactory]:
    factory = MockFactory()
    # gpiozero's software SPI takes its lock from the default factory, whatever factory it was given
    monkeypatch.setattr(Device, "pin_factory", factory)
    chip = BitConverter(convert=code_of, pin_factory=factory)
    yield factory
    chip.close()
    factory.close()


@pytest.fixture
def whole_transfers() -> Iterator[SimulatedPinFactory]:
    factory = SimulatedPinFactory(chip=ConverterChip(code_of), pin_changed=lambda gpio, high: None)
    yield factory
    factory.close()


@pytest.fixture(params=["bit_by_bit", "whole_transfers"])
def factory(request: pytest.FixtureRequest) -> MockFactory:
    return request.getfixturevalue(request.param)


@pytest.mark.parametrize("channel", range(8))
def test_the_driver_reads_each_input_of_either_chip(factory: MockFactory, channel: int) -> None:
    with MCP3208(channel=channel, pin_factory=factory) as chip:
        assert [chip.raw_value for _ in range(3)] == [CODES[channel]] * 3


@pytest.mark.parametrize("channel", range(8))
def test_the_driver_reads_differences_of_either_chip(factory: MockFactory, channel: int) -> None:
    with MCP3208(channel=channel, differential=True, pin_factory=factory) as chip:
        assert chip.raw_value == 4095 - CODES[channel]


@given(st.integers(0, 4095), st.integers(0, 7), st.integers(0, 6))
def test_the_chip_frames_its_answer_as_the_data_sheet_says(code: int, channel: int, zeros: int) -> None:
    """A frame of any alignment, written and read here bit by bit from the data sheet's words."""
    asked: list[Command] = []

    def convert(command: Command) -> int:
        asked.append(command)
        return code

    command_bits = [1, 1, *(channel >> bit & 1 for bit in (2, 1, 0))]
    assert len(command_bits) == 1 + FRAMING["after_start_bit"]
    tail = FRAMING["sampling_clocks"] + FRAMING["null_bits"] + FRAMING["result_bits"]
    sent = [0] * zeros + command_bits + [0] * tail
    sent += [0] * (-len(sent) % 8)
    octets = [int("".join(map(str, sent[i : i + 8])), 2) for i in range(0, len(sent), 8)]
    answer = "".join(f"{octet:08b}" for octet in ConverterChip(convert).transfer(octets))
    null_at = zeros + len(command_bits) + FRAMING["sampling_clocks"]
    assert answer[null_at] == "0"
    assert int(answer[null_at + 1 : null_at + 1 + FRAMING["result_bits"]], 2) == code
    assert asked == [Command(single_ended=True, channel=channel)]


def test_the_bit_by_bit_chip_does_not_hoard_pin_states(bit_by_bit: MockFactory) -> None:
    with MCP3208(channel=2, pin_factory=bit_by_bit) as chip:
        for _ in range(50):
            _ = chip.raw_value
        assert sum(len(pin.states) for pin in bit_by_bit.pins.values()) < 200


class CountingPacer:
    """Counts slots; a test's conversion reads the time from it."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.interval_s = 0.0

    def wait(self, duration_s: float) -> None:
        self.now_s += duration_s

    def start(self, interval_s: float) -> None:
        self.interval_s = interval_s

    def next(self) -> None:
        self.now_s += self.interval_s


@pytest.mark.parametrize("start_of_cycle", [0.0, 0.1, 0.25, 0.6])
def test_mains_hum_cancels_over_a_sample_wherever_it_starts(start_of_cycle: float) -> None:
    pacer = CountingPacer()
    pacer.wait(start_of_cycle / 50.0)
    hum_count = 40.0
    steady = {0: 3900.0, 2: 2000.0, 3: 140.0}

    def convert(command: Command) -> int:
        hum = hum_count * math.sin(2 * math.pi * 50.0 * pacer.now_s)
        return round(steady[command.channel] + hum)

    factory = SimulatedPinFactory(chip=ConverterChip(convert), pin_changed=lambda gpio, high: None)
    converter = TapConverter(wiring=WIRING, inputs=steady, pacer=pacer, pin_factory=factory)
    means = converter.mean_counts((0, 2, 3), load_wiring().sampling)
    converter.close()
    factory.close()
    for mean, expected in zip(means, steady.values(), strict=True):
        # rounding of single codes leaves a tenth; hum alone would be up to 40
        assert mean == pytest.approx(expected, abs=0.25)


def test_conversions_after_a_change_of_tap_are_thrown_away() -> None:
    """A chip whose first two conversions after a change still show the tap before."""
    last: list[int] = [0, 0]  # input, conversions since the change

    def convert(command: Command) -> int:
        if command.channel != last[0]:
            last[:] = [command.channel, 0]
        last[1] += 1
        return 0 if last[1] <= 2 else 100 * command.channel

    factory = SimulatedPinFactory(chip=ConverterChip(convert), pin_changed=lambda gpio, high: None)
    converter = TapConverter(wiring=WIRING, inputs=[1, 2, 3], pacer=CountingPacer(), pin_factory=factory)
    assert converter.mean_counts((1, 2, 3), load_wiring().sampling) == (100.0, 200.0, 300.0)
    converter.close()
    factory.close()


def test_real_slots_are_not_early() -> None:
    import time

    pacer = RealPacer()
    began_s = time.monotonic()
    pacer.start(0.0005)
    for _ in range(21):
        pacer.next()
    assert time.monotonic() - began_s >= 20 * 0.0005
