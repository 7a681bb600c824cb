"""What is switched on a bench: relays, ranges and current; and that nothing is ever left on."""

from collections.abc import Callable
from contextlib import nullcontext, suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calibration.contract.readings import Insertion, Quality
from rig.bench import Bench, BenchSample, SimulatedBench, simulated_bench
from rig.clock import SimulatedClock
from rig.errors import OrderRefused, RelayError
from rig.wiring import load_wiring

WIRING = load_wiring()

MakeBench = Callable[..., SimulatedBench]


def passes(bench: Bench, count: int) -> list[BenchSample]:
    samples = []
    for _ in range(count):
        bench.clock.wait_until(bench.clock.monotonic_s() + WIRING.bench.pass_interval_s)
        samples.append(bench.sample())
    return samples


def driven(bench: SimulatedBench) -> list[str]:
    """Outputs that are high, the light left out."""
    return [
        pin.info.name
        for pin in bench.silicon.pin_factory.pins.values()
        if pin.function == "output" and pin.state and pin.info.name != f"GPIO{WIRING.light.gpio}"
    ]


def test_a_range_that_is_ordered_stays_and_none_gives_the_choice_back(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_insertion(Insertion.SENDER)
    bench.set_decade(2500.0)
    bench.set_range(750.0)
    assert {sample.range_ohm for sample in passes(bench, 6)} == {750.0}
    bench.set_range(None)
    assert passes(bench, 2)[-1].range_ohm == 2700.0
    with pytest.raises(OrderRefused, match="no 100 Ω range. Ask for 2700, 750 or 68 Ω"):
        bench.set_range(100.0)


def test_a_pass_right_after_a_relay_moved_is_marked(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_insertion(Insertion.SENDER)
    at_once = bench.sample()
    assert at_once.channels["sender"].quality is Quality.SWITCHING
    assert at_once.channels["probe"].quality is Quality.SWITCHING
    assert passes(bench, 1)[0].channels["probe"].quality is Quality.GOOD
    bench.set_decade(1000.0)
    at_once = bench.sample()
    assert at_once.channels["sender"].quality is Quality.SWITCHING
    assert at_once.channels["probe"].quality is Quality.GOOD
    assert passes(bench, 1)[0].channels["sender"].quality is Quality.GOOD


def test_refused_orders_change_nothing(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_decade(470.0)
    for refuse in (
        lambda: bench.set_decade(470.5),
        lambda: bench.set_range(100.0),
        lambda: bench.set_probe_range(750.0),
        lambda: bench.burst(11.0),
        lambda: bench.set_duty(0.5),
        lambda: bench.write_emissivity(0.9),
        lambda: bench.write_emissivity(1.1, confirmed=True),
        lambda: bench.hands({"do": "sing"}),
    ):
        with pytest.raises(OrderRefused) as refusal:
            refuse()
        assert refusal.value.reason
    sample = passes(bench, 1)[0]
    assert (sample.decade_ohm, sample.insertion) == (470.0, Insertion.NONE)


def test_safe_puts_the_devices_back_and_the_box_to_nothing(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_insertion(Insertion.SENDER)
    bench.set_decade(9999.0)
    bench.safe()
    sample = passes(bench, 2)[-1]
    assert (sample.decade_ohm, sample.insertion) == (0.0, Insertion.NONE)
    expander = bench.silicon.i2c_bus.chips[WIRING.decade_box.i2c_address]
    assert expander.driven_high == 0
    assert not driven(bench)


def test_current_flows_only_while_a_channel_is_sampled(make_bench: MakeBench) -> None:
    bench = make_bench()
    passes(bench, 3)
    outputs = [pin for pin in bench.silicon.pin_factory.pins.values() if pin.function == "output"]
    assert len(outputs) == 10  # five ranges, four places, the light
    assert not driven(bench)


def test_self_heating_comes_from_the_actual_current_and_its_actual_time(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_range(2700.0)
    sample = passes(bench, 3)[-1]
    c0, c1, c2 = (sample.taps[f"sender.tap{tap}"] / 4096 for tap in (0, 1, 2))
    power_w = (c0 - c1) / 2700.0 * (c1 - c2)
    on_s = WIRING.sampling.settle_s + WIRING.sampling.window_s
    assert bench.silicon.world.heat.sender_j == pytest.approx(power_w * on_s, rel=0.02)
    bench.set_insertion(Insertion.SENDER)
    passes(bench, 2)
    assert bench.silicon.world.heat.sender_j == 0.0  # the box is warmed, not the sender


def test_a_sender_that_is_held_on_takes_four_times_the_heat_and_each_pass_says_so(
    make_bench: MakeBench,
) -> None:
    bench = make_bench()
    bench.set_range(2700.0)
    assert passes(bench, 3)[-1].sender_duty == pytest.approx(WIRING.duty)
    sampled_j = bench.silicon.world.heat.sender_j
    bench.set_duty(1.0)
    assert passes(bench, 3)[-1].sender_duty == 1.0
    bench.clock.wait_until(bench.clock.monotonic_s() + 0.25)
    bench.silicon.circuit.begin_pass(bench.clock.monotonic_s())
    assert bench.silicon.world.heat.sender_j == pytest.approx(sampled_j / WIRING.duty, rel=0.05)
    bench.safe()
    assert passes(bench, 1)[-1].sender_duty == pytest.approx(WIRING.duty)


def test_a_box_without_supply_is_trouble_and_not_a_reading(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_insertion(Insertion.SENDER)
    bench.set_decade(1000.0)
    expander = bench.silicon.i2c_bus.chips.pop(WIRING.decade_box.i2c_address)
    with pytest.raises(RelayError, match="No answer from the relay chip"):
        bench.set_decade(2000.0)
    assert "No answer from the relay chip" in bench.trouble[0]
    reading = passes(bench, 2)[-1].channels["sender"]
    assert (reading.quality, reading.value) == (Quality.SWITCHING, None)
    bench.silicon.i2c_bus.chips[WIRING.decade_box.i2c_address] = expander
    bench.set_decade(2000.0)
    assert bench.trouble == ()
    assert passes(bench, 2)[-1].channels["sender"].quality is Quality.GOOD


ORDERS = st.one_of(
    st.tuples(st.just("insertion"), st.sampled_from(Insertion)),
    st.tuples(st.just("decade"), st.integers(0, 9999)),
    st.tuples(st.just("range"), st.sampled_from([2700.0, 750.0, 68.0, None])),
    st.tuples(st.just("probe_range"), st.sampled_from([2700.0, 10200.0, None])),
    st.tuples(st.just("duty"), st.sampled_from([0.25, 1.0])),
    st.tuples(st.just("burst"), st.just(0.1)),
    st.tuples(st.just("safe"), st.none()),
    st.tuples(st.just("relay chip answers"), st.booleans()),
    st.tuples(st.just("pass"), st.none()),
)


class WatchedPins:
    """What is driven at any time, and whether two things ever were that never may be."""

    def __init__(self, bench: SimulatedBench) -> None:
        self.places = {
            WIRING.insertion.sender_gpio,
            WIRING.insertion.probe_gpio,
            WIRING.insertion.series_gpio,
            WIRING.insertion.parallel_gpio,
        }
        self.excitation = [
            {each.excitation_gpio for each in channel.ranges} for channel in WIRING.channels.values()
        ]
        self.high: set[int] = set()
        circuit = bench.silicon.circuit
        self._passed_on = circuit.pin_changed
        bench.silicon.pin_factory._pin_changed = self._changed

    def _changed(self, gpio: int, high: bool) -> None:
        (self.high.add if high else self.high.discard)(gpio)
        assert len(self.high & self.places) <= 1, "two places closed"
        for of_channel in self.excitation:
            assert len(self.high & of_channel) <= 1, "two ranges excited"
        self._passed_on(gpio, high)

    def closed_or_excited(self) -> set[int]:
        return self.high & self.places.union(*self.excitation)


@given(st.lists(ORDERS, max_size=14), st.booleans())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_sequence_of_orders_closes_two_places_or_leaves_one_closed(
    make_bench: MakeBench, orders: list[tuple[str, Any]], close: bool
) -> None:
    bench = make_bench()
    pins = WatchedPins(bench)
    box = WIRING.decade_box.i2c_address
    silent = bench.silicon.i2c_bus.silent
    deeds: dict[str, Callable[[Any], object]] = {
        "insertion": bench.set_insertion,
        "decade": lambda ohm: bench.set_decade(float(ohm)),
        "range": bench.set_range,
        "probe_range": bench.set_probe_range,
        "duty": bench.set_duty,
        "burst": bench.burst,
        "safe": lambda _: bench.safe(),
        "relay chip answers": lambda answers: silent.discard(box) if answers else silent.add(box),
        "pass": lambda _: passes(bench, 1),
    }
    for name, what in orders:
        with suppress(RelayError) if box in silent else nullcontext():
            deeds[name](what)
    if close:
        bench.close()
    else:
        with suppress(RelayError) if box in silent else nullcontext():
            bench.safe()
    assert not pins.closed_or_excited()
    if box in silent:
        return  # what the box holds then, nobody can change; it stands at no place
    assert bench.silicon.i2c_bus.chips[box].driven_high == 0
    if not close:
        assert passes(bench, 2)[-1].insertion is Insertion.NONE
        assert bench.sample().range_ohm in (2700.0, 750.0)  # never left on the gauge range


def test_nothing_is_closed_or_excited_once_the_bench_is_closed(tmp_path: Path) -> None:
    bench = simulated_bench(
        wiring=WIRING, seed=1, plant=None, world_file=tmp_path / "w" / "world.json", clock=SimulatedClock()
    )
    pins = WatchedPins(bench)
    bench.set_insertion(Insertion.SERIES)
    bench.set_decade(9999.0)
    bench.set_duty(1.0)
    passes(bench, 2)
    assert len(pins.closed_or_excited()) == 2
    expander = bench.silicon.i2c_bus.chips[WIRING.decade_box.i2c_address]
    bench.close()
    assert not pins.high
    assert expander.driven_high == 0


def test_a_burst_keeps_to_the_duty_and_leaves_no_current_behind(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_range(2700.0)
    passes(bench, 2)
    bench.silicon.world.heat.sender_j = 0.0
    ohm = bench.silicon.world.sender_ohm
    bench.burst(1.0)
    power_w = (1 / (ohm + 2802)) ** 2 * ohm
    assert bench.silicon.world.heat.sender_j == pytest.approx(power_w * 0.25, rel=0.03)
    assert not driven(bench)


def test_full_duty_warms_the_sender_by_four_times_the_heat(make_bench: MakeBench) -> None:
    bench = make_bench()
    bench.set_range(2700.0)
    heats = []
    for duty in (WIRING.duty, 1.0):
        bench.set_duty(duty)
        passes(bench, 4)
        total_j = 0.0
        advance = bench.silicon.world.advance

        def counted(now_s: float, advance: Callable[[float], None] = advance) -> None:
            nonlocal total_j
            total_j += bench.silicon.world.heat.sender_j
            advance(now_s)

        bench.silicon.world.advance = counted
        passes(bench, 8)
        bench.silicon.world.advance = advance
        heats.append(total_j)
    assert heats[1] / heats[0] == pytest.approx(4.0, rel=0.02)
    bench.safe()
    assert not driven(bench)
