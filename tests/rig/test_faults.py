"""The fault table: every fault that can be planted, and the quality word or the effect that it must have.

Complete by construction: a plant without a row fails the first test.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, pstdev

import pytest

from calibration.contract.readings import ChannelReading, Insertion, Quality
from rig.bench import BenchSample, SimulatedBench, simulated_bench
from rig.clock import SimulatedClock
from rig.errors import RelayError
from rig.sim.plants import PLANTS
from rig.wiring import load_wiring

pytestmark = pytest.mark.slow

WIRING = load_wiring()
PASS_S = WIRING.bench.pass_interval_s


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A bench with the fault, and the same one without."""

    faulty: SimulatedBench
    sound: SimulatedBench

    def both(self) -> tuple[SimulatedBench, SimulatedBench]:
        return self.faulty, self.sound


Row = Callable[[Pair], None]


def passes(bench: SimulatedBench, count: int) -> list[BenchSample]:
    samples = []
    for _ in range(count):
        bench.clock.wait_until(bench.clock.monotonic_s() + PASS_S)
        samples.append(bench.sample())
    return samples


def last(bench: SimulatedBench, channel: str, count: int = 6) -> ChannelReading:
    return passes(bench, count)[-1].channels[channel]


def mean(bench: SimulatedBench, channel: str, count: int = 8) -> float:
    found = [sample.channels[channel] for sample in passes(bench, count + 4)[4:]]
    assert {reading.quality for reading in found} == {Quality.GOOD}, found[-1]
    return fmean(reading.value for reading in found if reading.value is not None)


def box_in(bench: SimulatedBench, setting_ohm: float, place: Insertion = Insertion.SENDER) -> None:
    bench.set_insertion(place)
    bench.set_decade(setting_ohm)


def water(bench: SimulatedBench, temperature_c: float, settle_s: float = 300.0) -> None:
    """The bath held at a temperature, everything in it settled: only the world is moved."""
    world = bench.silicon.world
    for bench_step in range(round(settle_s)):
        world.state.bath.bath_c = temperature_c
        world.advance(bench.clock.monotonic_s() + bench_step + 1.0)
        world.state.bath.bath_c = temperature_c
    bench.clock.wait_until(bench.clock.monotonic_s() + settle_s)


def says(channel: str, quality: Quality, words: str = "", count: int = 12) -> Row:
    """The channel carries a quality word with a reason and no value; every other channel goes on."""

    def row(pair: Pair) -> None:
        sample = passes(pair.faulty, count)[-1]
        reading = sample.channels[channel]
        assert (reading.quality, reading.value) == (quality, None)
        assert words in str(reading.reason)
        others = {name: r for name, r in sample.channels.items() if name != channel}
        with_it = {"infrared": "ambient", "sender": "probe", "probe": "sender"}.get(channel)
        for name, other in others.items():
            if name != with_it:
                assert other.quality is Quality.GOOD, name

    return row


def ohms_change(change: Callable[[float], float], *, rel: float = 0.006) -> Row:
    """At room temperature the sender's ohms are changed in a known way, and called good."""

    def row(pair: Pair) -> None:
        faulty, sound = (mean(bench, "sender") for bench in pair.both())
        assert faulty == pytest.approx(change(sound), rel=rel)

    return row


def shifted_at_90(pair: Pair, *, at_25: float, at_90: float) -> None:
    """Share of resistance against the sound sender, at 25 and at 90 °C."""
    for temperature_c, expected in ((25.0, at_25), (90.0, at_90)):
        for bench in pair.both():
            water(bench, temperature_c)
        ohms = [bench.silicon.world.sender_ohm for bench in pair.both()]
        assert ohms[0] / ohms[1] == pytest.approx(expected, abs=0.015)


def row_beta_shift(pair: Pair) -> None:
    # 4 % of ln(R90/R25), which is ln(231/2053) on the printed 2.5 kohm family
    shifted_at_90(pair, at_25=1.0, at_90=math.exp(0.04 * math.log(231 / 2053)))


def row_aged(pair: Pair) -> None:
    shifted_at_90(pair, at_25=1.10, at_90=1.10 * math.exp(-0.02 * math.log(231 / 2053)))


def row_wrong_part(pair: Pair) -> None:
    water(pair.faulty, 25.0)
    assert mean(pair.faulty, "sender") == pytest.approx(10_000.0, rel=0.015)


def row_intermittent(pair: Pair) -> None:
    """Seen as open passes, and counted by a burst."""
    words = [sample.channels["sender"].quality for sample in passes(pair.faulty, 60)]
    assert set(words) == {Quality.GOOD, Quality.OPEN}
    points = [point for _ in range(6) for point in pair.faulty.burst(1.0)]
    share = sum(point.reading.quality is Quality.OPEN for point in points) / len(points)
    assert share == pytest.approx(0.3, abs=0.08)
    assert {point.reading.quality for point in pair.sound.burst(1.0)} == {Quality.GOOD}


def row_two_body(pair: Pair) -> None:
    """A second, slow time constant: at three of its lags a sound element has come 95 % of the way."""
    for bench in pair.both():
        bench.hands({"do": "fresh_water", "temperature_c": 60})
    ohms = []
    for bench in pair.both():
        tau_s = bench.silicon.world.state.sender.tau_s
        water(bench, 60.0, settle_s=3 * tau_s)
        ohms.append(bench.silicon.world.sender_ohm)
    assert ohms[0] > 1.2 * ohms[1]  # colder


def row_stratification(pair: Pair) -> None:
    """The sender hangs in water that is colder than the probe's by the planted half kelvin."""
    for bench in pair.both():
        water(bench, 90.0)
    faulty, sound = (bench.silicon.world.state for bench in pair.both())
    colder_k = sound.bodies.sender_c - faulty.bodies.sender_c
    assert colder_k == pytest.approx(0.5, abs=0.03)
    assert faulty.bodies.probe_c == pytest.approx(sound.bodies.probe_c, abs=0.01)


def row_infrared_reads_low(by_k: float) -> Row:
    def row(pair: Pair) -> None:
        for bench in pair.both():
            water(bench, 90.0)
        faulty, sound = (mean(bench, "infrared", 16) for bench in pair.both())
        assert sound - faulty == pytest.approx(by_k, rel=0.3)

    return row


def row_box_relay_stays_closed(pair: Pair) -> None:
    for bench in pair.both():
        box_in(bench, 1800.0)
    faulty, sound = (mean(bench, "sender") for bench in pair.both())
    assert sound - faulty == pytest.approx(800.0, rel=0.02)


def row_box_relay_stays_open(pair: Pair) -> None:
    for bench in pair.both():
        box_in(bench, 1000.0)
    faulty, sound = (mean(bench, "sender") for bench in pair.both())
    assert faulty - sound == pytest.approx(40.0, abs=2.0)


def row_place_never_closes(pair: Pair) -> None:
    before_ohm = mean(pair.faulty, "sender")
    for bench in pair.both():
        box_in(bench, 1000.0)
    assert mean(pair.faulty, "sender") == pytest.approx(before_ohm, rel=0.003)
    assert mean(pair.sound, "sender") == pytest.approx(1000.0, rel=0.008)


def row_place_never_opens(pair: Pair) -> None:
    for bench in pair.both():
        bench.set_decade(1000.0)
    assert mean(pair.faulty, "probe") == pytest.approx(1000.0, rel=0.008)
    assert mean(pair.sound, "probe") > 8000.0


def row_relay_bounce(pair: Pair) -> None:
    """A contact that is still chattering when the bench takes it for settled: half a second of wrong ohms."""
    shares = []
    for bench in pair.both():
        bench.set_decade(1000.0)
        bench.set_insertion(Insertion.SENDER)
        values = [sample.channels["sender"].value or 0.0 for sample in passes(bench, 8)]
        shares.append(values[0] / values[-1] - 1)
    assert shares[0] > 0.01
    assert abs(shares[1]) < 0.003


def row_both_resistances(quality: Quality, words: str) -> Row:
    def row(pair: Pair) -> None:
        sample = passes(pair.faulty, 12)[-1]
        for name in ("sender", "probe"):
            assert (sample.channels[name].quality, sample.channels[name].value) == (quality, None)
            assert words in str(sample.channels[name].reason)
        assert sample.channels["witness"].quality is sample.channels["infrared"].quality is Quality.GOOD

    return row


def row_converter_step(pair: Pair) -> None:
    """Beyond half scale everything reads 40 codes low: R_ref (c1 - c2)/(c0 - c1) with only c0 beyond."""
    for bench in pair.both():
        bench.set_range(2700.0)
        box_in(bench, 1000.0)
    faulty, sound = (mean(bench, "sender") for bench in pair.both())
    drop_count = 4096 * 2700 / (51 + 2700 + 1000 + 51)
    assert faulty / sound == pytest.approx(drop_count / (drop_count - 40.0), rel=0.002)


def row_supply_noise(pair: Pair) -> None:
    """25 codes on each of 64 conversions of three taps: 3 on a mean, so some ten times the usual scatter."""
    scatters = []
    for bench in pair.both():
        box_in(bench, 2000.0)
        raws = [sample.channels["sender"].raw or 0.0 for sample in passes(bench, 44)[4:]]
        scatters.append(pstdev(raws))
    assert scatters[0] > 8 * scatters[1]
    assert 1.0 < scatters[0] < 8.0


def row_excitation_dead(pair: Pair) -> None:
    pair.faulty.set_range(750.0)
    reading = last(pair.faulty, "sender")
    assert (reading.quality, reading.value) == (Quality.MISSING, None)
    assert "no voltage at the top tap" in str(reading.reason)
    pair.faulty.set_range(2700.0)
    assert last(pair.faulty, "sender").quality is Quality.GOOD


def row_reference_off(channel: str) -> Row:
    """A reference 3 % too large makes everything read 3 % too small."""

    def row(pair: Pair) -> None:
        for bench in pair.both():
            box_in(bench, 2000.0, Insertion(channel))
        faulty, sound = (mean(bench, channel) for bench in pair.both())
        assert faulty / sound == pytest.approx(1 / 1.03, rel=0.002)

    return row


def row_box(words: str) -> Row:
    """The order fails, the trouble is said, and a channel with the box in it is not believed."""

    def row(pair: Pair) -> None:
        with pytest.raises(RelayError, match=words):
            pair.faulty.set_decade(1000.0)
        assert words in pair.faulty.trouble[0]
        pair.faulty.set_insertion(Insertion.SENDER)
        reading = last(pair.faulty, "sender")
        assert (reading.quality, reading.value) == (Quality.SWITCHING, None)
        assert "not known" in str(reading.reason)
        assert last(pair.faulty, "probe").quality is Quality.GOOD

    return row


def row_infrared_missing(pair: Pair) -> None:
    sample = passes(pair.faulty, 4)[-1]
    for name in ("infrared", "ambient"):
        assert (sample.channels[name].quality, sample.channels[name].value) == (Quality.MISSING, None)
        assert "0x5A" in str(sample.channels[name].reason)
    assert sample.channels["sender"].quality is sample.channels["witness"].quality is Quality.GOOD


def row_witness_stale(pair: Pair) -> None:
    assert last(pair.faulty, "witness", 8).quality is Quality.GOOD
    reading = last(pair.faulty, "witness", 24)
    assert (reading.quality, reading.value) == (Quality.STALE, None)
    assert "ago" in str(reading.reason)


def row_witness_frozen(pair: Pair) -> None:
    """Told by the probe beside it, which moves; at rest nothing can tell it."""
    assert last(pair.faulty, "witness", 60).quality is Quality.GOOD
    for bench in pair.both():
        bench.hands({"do": "heater", "temperature_c": 40})
    assert last(pair.sound, "witness", 480).quality is Quality.GOOD
    reading = last(pair.faulty, "witness", 480)
    assert (reading.quality, reading.value) == (Quality.FROZEN, None)
    assert "beside it moves" in str(reading.reason)


def row_button_stuck(pair: Pair) -> None:
    """One press is stamped as it goes down, and then none for ever."""
    shots = [len(sample.shots_s) for sample in passes(pair.faulty, 20)]
    assert sum(shots) <= 1
    assert pair.faulty.button_is_pressed
    assert not pair.sound.button_is_pressed


TABLE: dict[str, Row] = {
    "series": ohms_change(lambda ohm: ohm + 22.0, rel=0.002),
    "leakage": ohms_change(lambda ohm: ohm * 24_000 / (ohm + 24_000), rel=0.002),
    "r25_shift": ohms_change(lambda ohm: 1.1 * ohm, rel=0.003),
    "beta_shift": row_beta_shift,
    "aged": row_aged,
    "wrong_part": row_wrong_part,
    "intermittent": row_intermittent,
    "two_body": row_two_body,
    "open": says("sender", Quality.OPEN, "open circuit"),
    "short": says("sender", Quality.SHORT, "short circuit"),
    "stratification": row_stratification,
    # a fifth of a view at 56 instead of 89 °C, and a tenth at the room's 22 °C, by fourth powers
    "steam": row_infrared_reads_low(6.1),
    "spot_too_wide": row_infrared_reads_low(5.0),
    "box_relay_stays_closed": row_box_relay_stays_closed,
    "box_relay_stays_open": row_box_relay_stays_open,
    "place_never_closes": row_place_never_closes,
    "place_never_opens": row_place_never_opens,
    "relay_bounce": row_relay_bounce,
    "converter_missing": row_both_resistances(Quality.MISSING, "no answer"),
    "converter_frozen": row_both_resistances(Quality.FROZEN, "the same counts"),
    "converter_step": row_converter_step,
    "supply_noise": row_supply_noise,
    "excitation_dead": row_excitation_dead,
    "reference_off": row_reference_off("sender"),
    "probe_reference_off": row_reference_off("probe"),
    "probe_open": says("probe", Quality.OPEN, "open circuit"),
    "box_missing": row_box("No answer from the relay chip"),
    "box_forgets": row_box("holds 0000000000000000"),
    "infrared_missing": row_infrared_missing,
    "infrared_timeout": row_infrared_missing,
    "infrared_pec": says("infrared", Quality.CHECKSUM, "packet error code"),
    "infrared_error_flag": says("infrared", Quality.ERROR_FLAG, "error flag"),
    "infrared_frozen": says("infrared", Quality.FROZEN, "half a minute", count=125),
    "infrared_emissivity": says("infrared", Quality.ERROR_FLAG, "emissivity cell says 0.800"),
    "witness_missing": says("witness", Quality.MISSING, "no 1-wire thermometer answers"),
    "witness_crc": says("witness", Quality.CHECKSUM, "checksum is wrong"),
    "witness_power_on": says("witness", Quality.POWER_ON, "after power-on"),
    "witness_empty": says("witness", Quality.MISSING, "check its plug"),
    "witness_stale": row_witness_stale,
    "witness_frozen": row_witness_frozen,
    "button_stuck": row_button_stuck,
}


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Callable[[tuple[str, float] | None], SimulatedBench]]:
    made: list[SimulatedBench] = []

    def bench(plant: tuple[str, float] | None) -> SimulatedBench:
        made.append(
            simulated_bench(
                wiring=WIRING,
                seed=5,
                plant=plant,
                world_file=tmp_path / str(len(made)) / "world.json",
                clock=SimulatedClock(start_utc_s=1_800_000_000.0),
            )
        )
        return made[-1]

    yield bench
    for each in made:
        each.close()


def test_every_plant_has_a_row() -> None:
    assert set(TABLE) == set(PLANTS)


@pytest.mark.parametrize("name", TABLE)
def test_each_fault_has_the_word_or_the_effect_of_its_row(make, name: str) -> None:
    pair = Pair(faulty=make((name, PLANTS[name].size)), sound=make(None))
    TABLE[name](pair)


def test_every_quality_word_of_the_rig_is_the_answer_to_some_fault(make) -> None:
    """Those that a desk gives stand beside a reading and are never the rig's (protocol, rule 5)."""
    found: set[Quality] = set()
    for name in TABLE:
        bench = make((name, PLANTS[name].size))
        bench.hands({"do": "heater", "temperature_c": 90})  # a value that hangs is told while others move
        bench.set_insertion(Insertion.SENDER)
        found |= {one.quality for one in bench.sample().channels.values()}  # relays have just moved
        bench.set_insertion(Insertion.NONE)
        for sample in passes(bench, 80):
            found |= {one.quality for one in sample.channels.values()}
        bench.set_range(2700.0)
        with suppress(RelayError):
            box_in(bench, 100.0)  # below what that range reports
        found |= {one.quality for one in passes(bench, 2)[-1].channels.values()}
    assert found == set(Quality)


@pytest.mark.parametrize("name", TABLE)
def test_no_fault_stops_sampling_or_leaves_a_number_that_is_not_finite(make, name: str) -> None:
    bench = make((name, PLANTS[name].size))
    for sample in passes(bench, 8):
        assert set(sample.channels) == {"sender", "probe", "witness", "infrared", "ambient"}
        for reading in sample.channels.values():
            assert reading.value is None or math.isfinite(reading.value)
            assert reading.quality is Quality.GOOD or reading.reason


def test_a_fault_planted_by_hand_is_there_from_the_next_pass_and_can_be_repaired(make) -> None:
    bench = make(None)
    bench.hands({"do": "plant", "plant": "infrared_pec"})
    assert last(bench, "infrared", 1).quality is Quality.CHECKSUM
    bench.hands({"do": "plant", "plant": None})
    assert last(bench, "infrared", 1).quality is Quality.GOOD
    bench.hands({"do": "fit_sender", "plant": "witness_crc"})  # not in a sender: a sound one is fitted
    assert last(bench, "witness", 8).quality is Quality.CHECKSUM
    assert last(bench, "sender", 1).quality is Quality.GOOD


def test_a_fault_of_the_bench_outlives_another_sender_and_a_restart(make, tmp_path: Path) -> None:
    bench = make(("infrared_pec", 1.0))
    bench.hands({"do": "fit_sender", "plant": None})
    assert last(bench, "infrared").quality is Quality.CHECKSUM
    bench.save()
    (tmp_path / "1").mkdir()
    (tmp_path / "1" / "world.json").write_bytes((tmp_path / "0" / "world.json").read_bytes())
    assert last(make(None), "infrared").quality is Quality.CHECKSUM
