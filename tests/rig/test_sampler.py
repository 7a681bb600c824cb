"""Sampling goes on, on its grid, whatever a channel, the disk or an order does."""

import sqlite3
import threading
from collections.abc import Callable
from typing import Any

import pytest

from calibration.contract.orders import Order, encode_order
from calibration.contract.presence import Stored
from calibration.contract.readings import CHANNEL_UNITS, Quality, ReadingPack
from rig.pace import USUAL_PERIOD_S as PERIOD_S
from rig.sampler import MOST_BEHIND
from rig.trouble import BENCH_UNREADABLE, DISK_UNWRITABLE

STORE = "store-a"
Until = Callable[..., None]


class SteppedClock:
    """A clock whose UTC can be set while rig time goes on."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.utc_offset_s: float | None = None

    def monotonic_s(self) -> float:
        return self.now_s

    def utc_s(self) -> float | None:
        return None if self.utc_offset_s is None else self.utc_offset_s + self.now_s

    def wait_until(self, monotonic_s: float) -> None:
        self.now_s = max(self.now_s, monotonic_s)


def _store_all(works: Any, *, n: int) -> None:
    boots = {works.file.boot: works.outbox.boots()[works.file.boot].last}
    works.outbox.hear(Stored(store=STORE, epoch=0, n=n, boots=boots), live=True)


def _sample_until(works: Any, passes: int, *, in_pass: Callable[[int], None] = lambda number: None) -> None:
    """Run the sampler on this thread, with a desk that stores at once, for so many passes."""
    count = 0

    def sampled() -> None:
        nonlocal count
        count += 1
        in_pass(count)
        _store_all(works, n=count + 10_000)
        if count >= passes:
            works.sampler.stop()

    works.bench.on_sample = sampled
    works.sampler.run()


def _times_s(packs: list[ReadingPack]) -> list[float]:
    return [pack.rig_time_s for pack in packs]


def test_a_pass_is_taken_every_quarter_second_of_rig_time_with_no_drift(works: Any) -> None:
    _sample_until(
        works, 50, in_pass=lambda _: works.bench.clock.wait_until(works.bench.clock.monotonic_s() + 0.07)
    )
    packs = works.packs()
    assert _times_s(packs) == [number * PERIOD_S for number in range(50)]
    assert [pack.seq for pack in packs] == list(range(1, 51))


def test_late_passes_are_left_out_and_not_bunched(works: Any) -> None:
    def slow(number: int) -> None:
        if number == 3:
            works.bench.clock.wait_until(works.bench.clock.monotonic_s() + 1.1)

    _sample_until(works, 6, in_pass=slow)
    assert _times_s(works.packs()) == [0.0, 0.25, 0.5, 1.75, 2.0, 2.25]
    assert [pack.seq for pack in works.packs()] == [1, 2, 3, 4, 5, 6]


def test_a_bad_channel_is_kept_with_its_reason_beside_the_good_ones(works: Any) -> None:
    _sample_until(works, 1)
    (pack,) = works.packs()
    assert pack.channels["infrared"].quality is Quality.CHECKSUM
    assert pack.channels["infrared"].value is None
    assert pack.channels["witness"].value == 20.0


def test_a_bench_that_cannot_be_read_is_said_and_never_stops_sampling(works: Any) -> None:
    troubles: list[tuple[str, ...]] = []

    def fail_for_a_while(number: int) -> None:
        works.bench.failure = OSError("the bus does not answer") if 3 <= number <= 5 else None
        troubles.append(works.troubles.words())

    _sample_until(works, 8, in_pass=fail_for_a_while)
    packs = works.packs()
    assert [pack.seq for pack in packs] == list(range(1, 9))
    for pack in packs[2:5]:
        assert set(pack.channels) == set(CHANNEL_UNITS)
        assert {reading.quality for reading in pack.channels.values()} == {Quality.MISSING}
        assert all(reading.value is None for reading in pack.channels.values())
    assert packs[5].channels["witness"].value == 20.0
    assert (BENCH_UNREADABLE,) in troubles
    assert works.troubles.words() == ()


def test_a_value_that_no_pack_can_say_is_kept_out_and_never_stops_sampling(works: Any) -> None:
    def not_a_number(number: int) -> None:
        works.bench.value_c = float("nan") if number == 2 else 20.0

    _sample_until(works, 3, in_pass=not_a_number)
    assert [pack.channels["witness"].quality for pack in works.packs()] == [
        Quality.GOOD,
        Quality.MISSING,
        Quality.GOOD,
    ]


def test_an_order_is_not_answered_by_a_pass_in_which_the_bench_failed(works: Any) -> None:
    _store_all(works, n=1)

    def order_then_fail(number: int) -> None:
        if number == 1:
            _give(works, _order(works))
        works.bench.failure = OSError("the bus does not answer") if number == 2 else None

    _sample_until(works, 4, in_pass=order_then_fail)
    (answer,) = works.orders.take_answers()
    assert answer.seq == 3


@pytest.mark.parametrize(("offset_s", "expected_s"), [(0.4, None), (-0.4, None), (0.6, 0.6), (-90.0, -90.0)])
def test_a_step_of_the_clock_over_half_a_second_stands_in_the_next_pack(
    make_works: Callable[..., Any], offset_s: float, expected_s: float | None
) -> None:
    clock = SteppedClock()
    works = make_works(clock=clock)
    clock.utc_offset_s = 1.8e9

    def step(number: int) -> None:
        if number == 2:
            clock.utc_offset_s = 1.8e9 + offset_s

    _sample_until(works, 4, in_pass=step)
    assert [pack.clock_step_s for pack in works.packs()] == [None, None, expected_s, None]


def test_utc_stands_in_a_pack_only_where_the_clock_was_synchronised(make_works: Callable[..., Any]) -> None:
    clock = SteppedClock()
    works = make_works(clock=clock)

    def synchronise(number: int) -> None:
        if number == 2:
            clock.utc_offset_s = 1.8e9

    _sample_until(works, 4, in_pass=synchronise)
    assert [pack.utc_s for pack in works.packs()] == [None, None, 1.8e9 + 0.5, 1.8e9 + 0.75]
    assert all(pack.clock_step_s is None for pack in works.packs())


def test_the_simulated_world_is_saved_once_a_second(works: Any) -> None:
    _sample_until(works, 9)
    assert works.bench.times_saved == 2


def test_the_simulated_world_is_saved_before_an_order_is_answered(
    works: Any, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else a kill would undo what the desk believes done: a heater switched on, a sender fitted."""
    saved_at_answers: list[int] = []
    pass_kept = works.orders.pass_kept

    def noting(seq: int) -> None:
        if works.orders.awaits_pass():
            saved_at_answers.append(works.bench.times_saved)
        pass_kept(seq)

    monkeypatch.setattr(works.orders, "pass_kept", noting)
    _give_and_adopt(works)
    works.start_sampling()
    until(works.orders.has_answers, "the order is answered")
    assert saved_at_answers == [1]


def test_a_simulated_clock_stands_still_while_the_desk_is_twenty_passes_behind(
    works: Any, until: Until
) -> None:
    works.start_sampling()
    until(lambda: works.outbox.behind() == MOST_BEHIND, "the sampler is as far ahead as it may be")
    stood_at_s = works.bench.clock.monotonic_s()
    _give_and_adopt(works)
    until(lambda: works.bench.decade_ohm == 4700.0, "an order is carried out while the clock stands still")
    assert works.outbox.behind() == MOST_BEHIND
    assert works.bench.clock.monotonic_s() == stood_at_s
    _store_all(works, n=50)
    until(works.orders.has_answers, "the order is answered once the desk keeps up")
    (answer,) = works.orders.take_answers()
    assert answer.seq == MOST_BEHIND + 1
    until(lambda: works.outbox.behind() == MOST_BEHIND, "the sampler goes on, as far as it may")


def test_on_metal_sampling_goes_on_without_any_desk(make_works: Callable[..., Any], until: Until) -> None:
    works = make_works(simulated=False)
    works.start_sampling()
    until(lambda: works.outbox.behind() > 5 * MOST_BEHIND, "far more passes than a simulation would take")


def test_a_full_disk_loses_passes_in_words_and_no_number(works: Any, until: Until) -> None:
    keep = works.outbox.append_all
    full = threading.Event()

    def full_for_a_while(encoders: Any, *, kept_at_utc_s: float) -> list[int]:
        if full.is_set():
            full.clear()
            raise sqlite3.OperationalError("database or disk is full")
        return keep(encoders, kept_at_utc_s=kept_at_utc_s)

    works.outbox.append_all = full_for_a_while
    words: list[tuple[str, ...]] = []

    def fill(number: int) -> None:
        words.append(works.troubles.words())
        if number == 2:
            full.set()

    _sample_until(works, 4, in_pass=fill)
    assert [pack.seq for pack in works.packs()] == [1, 2, 3]
    assert words == [(), (), (DISK_UNWRITABLE,), ()]


def _order(works: Any) -> Order:
    return Order(
        order="00000000-0000-4000-8000-000000000001",
        store=STORE,
        boot=works.file.boot,
        not_after_s=1e6,
        do="set_decade",
        fields={"resistance_ohm": 4700},
    )


def _give(works: Any, order: Order) -> None:
    works.orders.receive(encode_order(order), retained=False)


def _give_and_adopt(works: Any) -> None:
    works.outbox.hear(Stored(store=STORE, epoch=0, n=1, boots={}), live=True)
    _give(works, _order(works))
