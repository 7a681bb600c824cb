"""Clearing idle readings: what a run rests on stays, and every number stays accounted for."""

import itertools
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from calibration.contract.readings import GapPack, ReadingPack
from calibration.contract.senml import encode_readings
from host.citation import Citation
from host.idle_readings import DailyClearing, clear_idle_readings
from host.store import Store, schema
from host.store.idle_readings import AROUND_A_RUN_S, NOT_KEPT
from host.store.packs import Arrival
from host.store.settings import SettingError

DAY_S = 86_400.0
boots = (f"{number:08d}-0a0b0c0d" for number in itertools.count(1))


def arrive(store: Store, packs: list[ReadingPack | GapPack], *, days_ago: float) -> None:
    at_utc_s = store.now() - days_ago * DAY_S
    store.packs.take(
        [Arrival(station="bench-1", payload=encode_readings(pack), received_utc_s=at_utc_s) for pack in packs]
    )


def old_run(store: Store, *payloads: dict, days_ago: float) -> int:
    run = store.runs.create(station="bench-1", kind="sender_check", settings={})
    for index, payload in enumerate(payloads):
        store.runs.append(run, "window_closed", payload, after=index)
    store.runs.end(run)
    with store._database.writing() as connection:  # as if it had been then
        then = store.now() - days_ago * DAY_S
        connection.execute(
            schema.runs.update().where(schema.runs.c.run == run).values(started_utc_s=then, ended_utc_s=then)
        )
    return run


def accounted(store: Store, boot: str) -> set[int]:
    """Numbers of a boot that a reading, a refusal or a gap stands for."""
    w = store.packs.watermark("bench-1", boot)
    numbers = {pack.seq for pack in store.readings("bench-1", boot, 1, 10**6)}
    for gap in store.packs.gaps("bench-1", boot):
        numbers |= set(range(gap.first, gap.last + 1))
    with store._database.reading() as connection:
        table = schema.refused
        query = select(table.c.seq).where(table.c.boot == boot, table.c.accounts.is_(True))
        numbers |= set(connection.scalars(query))
    return {number for number in numbers if number <= w}


def test_nothing_is_cleared_until_the_shop_says_after_how_long(
    store: Store, make_pack: Callable[..., ReadingPack]
) -> None:
    arrive(store, [make_pack(seq=seq) for seq in (1, 2, 3)], days_ago=400)
    assert clear_idle_readings(store) is None
    assert DailyClearing(store).clear_if_due() is None
    with pytest.raises(SettingError, match="8 to 3650"):
        store.settings.change({"idle_readings_days": "7"})
    assert store.audit.count() == 0


def test_what_is_cleared_leaves_a_gap_and_a_line_in_the_list(
    store: Store, make_pack: Callable[..., ReadingPack]
) -> None:
    boot = next(boots)
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in range(1, 11)], days_ago=40)
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in range(11, 14)], days_ago=3)
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in (20, 21)], days_ago=40)  # above the watermark
    store.settings.change({"idle_readings_days": "30"})
    assert store.idle_readings.count(store.now() - 30 * DAY_S) == 10
    cleared = DailyClearing(store).clear_if_due()
    assert cleared is not None and cleared.count == 10
    assert [pack.seq for pack in store.readings("bench-1", boot, 1, 99)] == [11, 12, 13, 20, 21]
    (gap,) = store.packs.gaps("bench-1", boot)
    assert (gap.first, gap.last, gap.reason, gap.rig) == (1, 10, NOT_KEPT, "rig-a")
    assert store.packs.watermark("bench-1", boot) == 13
    (line,) = store.audit.newest(9)
    assert line.deed == "cleared idle readings"
    assert line.subject.startswith("10 idle readings from before ")
    again = clear_idle_readings(store)
    assert again is not None and again.count == 0
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in range(14, 20)], days_ago=0)
    assert store.packs.watermark("bench-1", boot) == 21  # the station goes on


def test_a_run_keeps_what_came_around_it_and_what_an_open_one_may_still_want(
    store: Store, make_pack: Callable[..., ReadingPack]
) -> None:
    boot = next(boots)
    near_days = AROUND_A_RUN_S / DAY_S / 2.0
    arrive(store, [make_pack(seq=1, boot=boot)], days_ago=60)
    arrive(store, [make_pack(seq=2, boot=boot)], days_ago=50 + near_days)
    old_run(store, days_ago=50)
    arrive(store, [make_pack(seq=3, boot=boot)], days_ago=40)
    assert clear_idle_readings(store, older_than_days=30).count == 2  # type: ignore[union-attr]
    assert [pack.seq for pack in store.readings("bench-1", boot, 1, 9)] == [2]


def test_the_pass_by_which_a_boot_tells_its_times_is_kept(
    store: Store, make_pack: Callable[..., ReadingPack]
) -> None:
    boot = next(boots)
    packs = [make_pack(seq=seq, boot=boot, utc_s=1.7e9 + seq if seq >= 3 else None) for seq in range(1, 7)]
    arrive(store, packs, days_ago=60)
    known = store.packs.first_synchronised("bench-1", boot)
    clear_idle_readings(store, older_than_days=30)
    assert store.packs.first_synchronised("bench-1", boot) == known
    assert [pack.seq for pack in store.readings("bench-1", boot, 1, 9)] == [3]


@pytest.mark.slow
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    length=st.integers(1, 40),
    lost=st.sets(st.integers(1, 40), max_size=6),
    young_from=st.integers(1, 41),
    cited=st.lists(st.tuples(st.integers(1, 40), st.integers(0, 12)), max_size=3),
)
def test_whatever_runs_cite_is_never_touched_and_no_number_is_lost(
    store: Store,
    make_pack: Callable[..., ReadingPack],
    length: int,
    lost: set[int],
    young_from: int,
    cited: list[tuple[int, int]],
) -> None:
    boot = next(boots)
    numbers = [seq for seq in range(1, length + 1) if seq not in lost]
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in numbers if seq < young_from], days_ago=90)
    arrive(store, [make_pack(seq=seq, boot=boot) for seq in numbers if seq >= young_from], days_ago=1)
    for first, more in cited:
        citation = Citation(station="bench-1", boot=boot, first=first, last=first + more)
        old_run(store, {"readings": citation.as_json()}, days_ago=900)
    before = {seq: payload for seq, payload in store.packs.payloads("bench-1", boot, 1, 99)}
    w = store.packs.watermark("bench-1", boot)
    clear_idle_readings(store, older_than_days=30)
    after = {seq: payload for seq, payload in store.packs.payloads("bench-1", boot, 1, 99)}
    wanted = {seq for first, more in cited for seq in range(first, first + more + 1)}
    assert all(after.get(seq) == before[seq] for seq in before if seq in wanted)
    assert all(seq in after for seq in before if seq >= young_from or seq > w)
    assert after.items() <= before.items()
    assert store.packs.watermark("bench-1", boot) == w
    assert accounted(store, boot) == set(range(1, w + 1))
    assert not any(seq < young_from and seq <= w for seq in after if not cited)
