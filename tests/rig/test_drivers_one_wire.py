"""The witness through w1thermsensor, unmodified, over a simulated tree."""

import threading
import tomllib
from pathlib import Path

import pytest

from calibration.contract.readings import ChannelReading, Quality
from rig.clock import SimulatedClock
from rig.drivers.one_wire import WitnessThermometer, WitnessThread
from rig.sim.one_wire_tree import SERIAL, OneWireTree, WitnessFault, maxim_crc

FOLDER = Path(__file__).parent / "published"
CRC = tomllib.loads((FOLDER / "crc.toml").read_text("utf-8"))["one_wire"]
CODES = tomllib.loads((FOLDER / "ds18b20.toml").read_text("utf-8"))


class Bench:
    """A witness in a bath, and its driver."""

    def __init__(self, folder: Path) -> None:
        self.tree = OneWireTree(folder)
        self.driver = WitnessThermometer(tree=folder, stale_after_s=5.0)

    def read(self, temperature_c: float, now_s: float = 0.0) -> ChannelReading:
        self.tree.convert(temperature_c)
        self.driver.convert(now_s)
        return self.driver.reading(now_s)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.mark.parametrize("check", CRC, ids=lambda check: check["octets"])
def test_the_tree_makes_the_published_checksum(check: dict[str, str]) -> None:
    assert maxim_crc(bytes.fromhex(check["octets"])) == int(check["crc"], 16), check["source"]


@pytest.mark.parametrize("word", CODES["word"], ids=lambda word: word["register"])
def test_the_tree_shows_the_published_word_and_the_driver_reads_it(bench: Bench, word: dict) -> None:
    temperature_c = word["temperature_c"]
    bench.tree.convert(temperature_c)
    octets = (bench.tree.folder / SERIAL / "w1_slave").read_text("ascii").split()
    assert (octets[1] + octets[0]).upper() == word["register"]
    if temperature_c != 85.0:  # that one is a test of its own
        assert bench.read(temperature_c).value == temperature_c


def test_a_bath_that_passes_85_degrees_is_believed_beside_its_neighbours(bench: Bench) -> None:
    values = [bench.read(84.5 + 0.1 * second, float(second)) for second in range(11)]
    assert [reading.quality for reading in values] == [Quality.GOOD] * 11
    assert values[5].value == 85.0


@pytest.mark.parametrize("before_c", [None, 22.0, 80.0, 98.0])
def test_the_power_on_value_is_not_believed(bench: Bench, before_c: float | None) -> None:
    if before_c is not None:
        bench.read(before_c, 0.0)
    bench.tree.fault = WitnessFault.POWER_ON
    reading = bench.read(40.0, 1.0)
    assert (reading.quality, reading.value, reading.raw) == (
        Quality.POWER_ON,
        None,
        int(CODES["power_on"], 16),
    )


def test_a_long_silence_gives_the_power_on_value_no_neighbour(bench: Bench) -> None:
    bench.read(84.9, 0.0)
    bench.tree.fault = WitnessFault.POWER_ON
    assert bench.read(84.9, 60.0).quality is Quality.POWER_ON


@pytest.mark.parametrize(
    ("fault", "quality"),
    [
        (WitnessFault.CHECKSUM, Quality.CHECKSUM),
        (WitnessFault.EMPTY, Quality.MISSING),
        (WitnessFault.UNPLUGGED, Quality.MISSING),
    ],
)
def test_faults_are_told_apart_and_pass(bench: Bench, fault: WitnessFault, quality: Quality) -> None:
    bench.read(40.0, 0.0)
    bench.tree.fault = fault
    reading = bench.read(41.0, 1.0)
    assert (reading.quality, reading.value) == (quality, None)
    assert reading.reason
    bench.tree.fault = WitnessFault.NONE
    assert bench.read(42.0, 2.0).value == 42.0


@pytest.mark.parametrize(
    "text", ["00 00 00 00 00 00 00 00 00 : crc=00 YES\n", "50 05 4b 46 YES\n", "garbage"]
)
def test_half_an_answer_is_no_reading(bench: Bench, text: str) -> None:
    (bench.tree.folder / SERIAL / "w1_slave").write_text(text, "ascii")
    bench.driver.convert(0.0)
    assert bench.driver.reading(0.0).quality is Quality.MISSING


def test_no_witness_at_all_is_missing(tmp_path: Path) -> None:
    driver = WitnessThermometer(tree=tmp_path / "not there", stale_after_s=5.0)
    assert driver.reading(0.0).quality is Quality.MISSING
    driver.convert(0.0)
    assert driver.reading(0.0).quality is Quality.MISSING


def test_an_old_conversion_goes_stale(bench: Bench) -> None:
    bench.read(40.0, 0.0)
    assert bench.driver.reading(5.0).value == 40.0
    reading = bench.driver.reading(6.0)
    assert (reading.quality, reading.value, reading.raw) == (Quality.STALE, None, 640)


def test_the_thread_converts_until_it_is_closed(bench: Bench) -> None:
    bench.tree.convert(50.0)
    converted = threading.Event()
    convert = bench.driver.convert

    def convert_and_tell(now_s: float) -> None:
        convert(now_s)
        converted.set()

    bench.driver.convert = convert_and_tell  # type: ignore[method-assign]
    thread = WitnessThread(witness=bench.driver, clock=SimulatedClock(), interval_s=60.0)
    thread.start()
    assert converted.wait(10.0)
    thread.close()
    assert bench.driver.reading(0.0).value == 50.0
