"""The infrared sensor through the library's driver, with every fault of the wire told apart."""

import tomllib
from pathlib import Path

import pytest
from adafruit_mlx90614 import MLX90614

from calibration.contract.readings import Quality
from rig.drivers.infrared import (
    FROZEN_AFTER_READINGS,
    InfraredSensor,
    PecCheckedBus,
    packet_error_code,
)
from rig.errors import OrderRefused, ReadingUnusable
from rig.sim.circuit import PassTime, SimulatedPacer
from rig.sim.i2c_bus import SimulatedI2CBus
from rig.sim.infrared_chip import InfraredChip
from rig.sim.mlx_code import code_from_celsius, smbus_crc
from rig.wiring import load_wiring

FOLDER = Path(__file__).parent / "published"
CRC = tomllib.loads((FOLDER / "crc.toml").read_text("utf-8"))["smbus"]
MLX = tomllib.loads((FOLDER / "mlx90614.toml").read_text("utf-8"))
WIRING = load_wiring().infrared


class Bench:
    """A sensor on a bus, looking at something."""

    def __init__(self) -> None:
        self.target_c = 60.0
        self.chip = InfraredChip(
            body_c=lambda: 24.0, target_c=lambda cell: self.target_c, emissivity=0.95, address=0x5A
        )
        self.bus = SimulatedI2CBus({0x5A: self.chip})
        self.time = PassTime()
        self.sensor = InfraredSensor(bus=self.bus, wiring=WIRING, pacer=SimulatedPacer(self.time))


@pytest.mark.parametrize("check", CRC, ids=lambda check: check["octets"])
@pytest.mark.parametrize("code", [packet_error_code, smbus_crc])
def test_packet_error_codes_are_the_published_ones(code, check: dict[str, str]) -> None:
    assert code(bytes.fromhex(check["octets"])) == int(check["crc"], 16), check["source"]


@pytest.mark.parametrize("check", MLX["code"], ids=lambda check: check["register"])
def test_the_driver_scales_words_as_the_data_sheet_does(check: dict) -> None:
    word = int(check["register"], 16)

    class OneWord:
        def write(self, data: bytes) -> None:
            pass

        def read(self, count: int) -> bytes:
            frame = bytes((0xB4, 0x07, 0xB5, word & 0xFF, word >> 8))
            return (frame[3:] + bytes((smbus_crc(frame),)))[:count]

    driver = MLX90614(PecCheckedBus(SimulatedI2CBus({0x5A: OneWord()})))
    assert driver.object_temperature == pytest.approx(check["temperature_c"], abs=check["tolerance_k"])
    assert code_from_celsius(check["temperature_c"]) == word


def test_target_and_body_are_read() -> None:
    readings = Bench().sensor.read(0.0)
    assert readings.infrared.quality is readings.ambient.quality is Quality.GOOD
    assert readings.infrared.value == pytest.approx(60.0, abs=0.011)
    assert readings.ambient.value == pytest.approx(24.0, abs=0.011)


def test_a_wrong_packet_error_code_is_never_a_temperature() -> None:
    bench = Bench()
    bench.sensor.read(0.0)
    bench.chip.corrupt_pec = True
    readings = bench.sensor.read(0.25)
    assert (readings.infrared.quality, readings.infrared.value) == (Quality.CHECKSUM, None)
    assert readings.infrared.raw == code_from_celsius(60.0)
    bench.chip.corrupt_pec = False
    assert bench.sensor.read(0.5).infrared.quality is Quality.GOOD  # and the bus is not left locked


def test_the_error_flag_is_never_a_temperature() -> None:
    bench = Bench()
    bench.sensor.read(0.0)
    bench.chip.error_flag = True
    readings = bench.sensor.read(0.25)
    assert (readings.infrared.quality, readings.infrared.value) == (Quality.ERROR_FLAG, None)
    assert readings.infrared.raw is not None
    assert int(readings.infrared.raw) & MLX["commands"]["error_flag"]


def test_a_bus_pulled_up_with_nobody_on_it_is_not_1037_degrees() -> None:
    class Nobody:
        def write(self, data: bytes) -> None:
            pass

        def read(self, count: int) -> bytes:
            return b"\xff" * count

    bus = SimulatedI2CBus({0x5A: Nobody()})
    sensor = InfraredSensor(bus=bus, wiring=WIRING, pacer=SimulatedPacer(PassTime()))
    assert sensor.read(0.0).ambient.quality is Quality.CHECKSUM


def test_a_sensor_that_is_unplugged_and_comes_back_is_missed_and_found_again() -> None:
    bench = Bench()
    del bench.bus.chips[0x5A]
    readings = bench.sensor.read(0.0)
    assert readings.infrared.quality is readings.ambient.quality is Quality.MISSING
    assert "0x5A" in str(readings.ambient.reason)
    bench.bus.chips[0x5A] = bench.chip
    assert bench.sensor.read(0.25).infrared.quality is Quality.GOOD
    del bench.bus.chips[0x5A]
    assert bench.sensor.read(0.5).infrared.quality is Quality.MISSING


def test_the_emissivity_cell_is_read_and_never_assumed() -> None:
    bench = Bench()
    assert bench.sensor.emissivity() == pytest.approx(0.95, abs=1e-5)
    bench.chip.set_emissivity(0.80)
    readings = bench.sensor.read(0.0)
    assert (readings.infrared.quality, readings.infrared.value) == (Quality.ERROR_FLAG, None)
    assert "0.800" in str(readings.infrared.reason)
    assert readings.ambient.quality is Quality.GOOD  # the body needs no emissivity


def test_every_pass_says_what_the_emissivity_cell_held_and_an_unread_cell_says_nothing() -> None:
    bench = Bench()
    assert bench.sensor.read(0.0).emissivity == pytest.approx(0.95, abs=1e-4)
    assert bench.sensor.read(0.25).emissivity == pytest.approx(0.95, abs=1e-4)
    bench.chip.corrupt_pec = True
    assert bench.sensor.read(61.0).emissivity is None


def test_an_emissivity_that_changes_on_the_bench_is_found_within_a_minute() -> None:
    bench = Bench()
    assert bench.sensor.read(0.0).infrared.quality is Quality.GOOD
    bench.chip.set_emissivity(0.80)
    assert bench.sensor.read(60.0).infrared.quality is Quality.ERROR_FLAG


def test_a_code_below_the_sensor_s_span_is_no_temperature() -> None:
    bench = Bench()
    bench.target_c = -150.0
    reading = bench.sensor.read(0.0).infrared
    assert (reading.quality, reading.value) == (Quality.RANGE, None)


def test_the_emissivity_cell_is_erased_written_and_read_back_with_time_for_each() -> None:
    bench = Bench()
    bench.sensor.write_emissivity(0.9, confirmed=True)
    assert bench.sensor.emissivity() == pytest.approx(0.9, abs=1e-5)
    assert bench.time.now_s >= 2 * MLX["eeprom"]["erase_or_write_s"]
    assert bench.chip.emissivity == pytest.approx(0.95, abs=1e-5)  # until its supply was off and on
    bench.chip.switch_off_and_on()
    assert bench.chip.emissivity == pytest.approx(0.9, abs=1e-5)


def test_a_cell_that_is_not_erased_first_keeps_old_bits() -> None:
    """What the driver's first write is there for."""
    chip = Bench().chip
    word = round(0.9 * 65535)
    frame = bytes((0x24, word & 0xFF, word >> 8))
    chip.write(frame + bytes((smbus_crc(b"\xb4" + frame),)))
    chip.switch_off_and_on()
    assert chip.emissivity != pytest.approx(0.9, abs=1e-3)


def test_an_emissivity_is_not_written_unless_it_is_meant_and_can_be() -> None:
    bench = Bench()
    with pytest.raises(OrderRefused, match="only on a confirmed order"):
        bench.sensor.write_emissivity(0.9, confirmed=False)
    for emissivity in (0.05, 1.01, float("nan")):
        with pytest.raises(OrderRefused, match="from 0.1 to 1"):
            bench.sensor.write_emissivity(emissivity, confirmed=True)
    assert bench.sensor.emissivity() == pytest.approx(0.95, abs=1e-5)


def test_an_emissivity_that_did_not_take_is_said() -> None:
    bench = Bench()

    class ReadOnly:
        def write(self, data: bytes) -> None:
            bench.chip.write(data[:1])

        def read(self, count: int) -> bytes:
            return bench.chip.read(count)

    bench.bus.chips[0x5A] = ReadOnly()
    with pytest.raises(ReadingUnusable, match="holds 0.9500 where 0.9000 was written"):
        bench.sensor.write_emissivity(0.9, confirmed=True)
    del bench.bus.chips[0x5A]
    with pytest.raises(ReadingUnusable, match="no answer"):
        bench.sensor.write_emissivity(0.9, confirmed=True)


def test_a_target_without_noise_is_frozen_and_one_with_noise_is_not() -> None:
    bench = Bench()
    words = [bench.sensor.read(number / 4).infrared.quality for number in range(FROZEN_AFTER_READINGS + 1)]
    assert words[: FROZEN_AFTER_READINGS - 1] == [Quality.GOOD] * (FROZEN_AFTER_READINGS - 1)
    assert words[FROZEN_AFTER_READINGS - 1 :] == [Quality.FROZEN] * 2
    bench.target_c += 0.1
    assert bench.sensor.read(60.0).infrared.quality is Quality.GOOD


def test_a_clock_held_low_is_a_missing_sensor_with_its_reason() -> None:
    bench = Bench()
    bench.bus.stretching = {0x5A}
    reading = bench.sensor.read(0.0).ambient
    assert reading.quality is Quality.MISSING
    assert "0x5A" in str(reading.reason)
