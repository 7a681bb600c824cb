import json
from collections.abc import Callable, Iterator
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.contract.readings import GapPack, ReadingPack
from calibration.contract.senml import encode_gap, encode_readings
from host.data_folder import DataFolder
from host.store import Store, open_store
from host.store.aside import DAILY_LIMIT
from host.store.packs import Arrival, Taken

pytestmark = pytest.mark.slow

BOOT = "00000001-0a0b0c0d"
NEXT_BOOT = "00000002-00000000"
NOON_UTC_S = 1_700_049_600.0  # 2023-11-15 12:00 UTC

MakePack = Callable[..., ReadingPack]


def take(store: Store, *payloads: bytes, station: str = "bench-1", at_utc_s: float = NOON_UTC_S) -> Taken:
    return store.packs.take(
        [Arrival(station=station, payload=payload, received_utc_s=at_utc_s) for payload in payloads]
    )


def gap(first: int, last: int, station: str = "bench-1", boot: str = BOOT) -> bytes:
    return encode_gap(
        GapPack(station=station, rig="rig-a", boot=boot, first=first, last=last, reason="thinned")
    )


def damaged(pack: ReadingPack) -> bytes:
    """The same message with a temperature that no bath has; its number stays readable."""
    records = json.loads(encode_readings(pack))
    records.append({"n": "ambient.quality", "vs": "good"})
    records.append({"n": "ambient", "u": "Cel", "v": 1037.55})
    return json.dumps(records).encode()


def test_a_reading_comes_back_as_it_was_sent(store: Store, make_pack: MakePack) -> None:
    pack = make_pack(seq=1, utc_s=NOON_UTC_S)
    taken = take(store, encode_readings(pack))
    assert taken.readings == (pack,)
    assert store.readings("bench-1", BOOT, 1, 1) == [pack]
    assert store.latest_boot("bench-1") == BOOT


def test_the_watermark_waits_for_a_missing_number_and_then_jumps(store: Store, make_pack: MakePack) -> None:
    take(store, *(encode_readings(make_pack(seq=seq)) for seq in (1, 2, 4, 5)))
    assert store.watermark("bench-1", BOOT) == 2
    taken = take(store, encode_readings(make_pack(seq=3)))
    assert taken.watermarks == {("bench-1", BOOT): 5}
    assert store.watermark("bench-1", BOOT) == 5


def test_boots_have_watermarks_of_their_own(store: Store, make_pack: MakePack) -> None:
    take(store, encode_readings(make_pack(seq=1)), encode_readings(make_pack(seq=1, boot=NEXT_BOOT)))
    take(store, encode_readings(make_pack(seq=2, boot=NEXT_BOOT)))
    assert store.packs.watermarks("bench-1") == {BOOT: 1, NEXT_BOOT: 2}
    assert store.latest_boot("bench-1") == NEXT_BOOT


def test_every_third_reading_is_that_whose_number_three_divides(store: Store, make_pack: MakePack) -> None:
    take(store, *(encode_readings(make_pack(seq=seq)) for seq in range(1, 11)))
    thinned = store.packs.readings("bench-1", BOOT, 2, 10, every=3)
    assert [pack.seq for pack in thinned] == [3, 6, 9]


def test_a_resent_reading_is_ignored(store: Store, make_pack: MakePack) -> None:
    payload = encode_readings(make_pack(seq=1))
    take(store, payload)
    again = take(store, payload, payload)
    assert again.readings == ()
    assert again.aside == 0
    assert len(store.readings("bench-1", BOOT, 0, 9)) == 1


def test_other_bytes_under_a_stored_number_are_kept_aside_as_a_conflict(
    store: Store, make_pack: MakePack
) -> None:
    first = make_pack(seq=1)
    take(store, encode_readings(first), encode_readings(make_pack(seq=1, decade_ohm=100.0)))
    assert store.readings("bench-1", BOOT, 1, 1) == [first]
    (aside,) = store.aside.all()
    assert aside.refusal.reason.startswith("conflict")
    assert (aside.refusal.boot, aside.refusal.seq) == (BOOT, 1)


def test_a_declared_gap_counts_and_a_reading_beats_it(store: Store, make_pack: MakePack) -> None:
    take(store, encode_readings(make_pack(seq=1)), gap(2, 40), encode_readings(make_pack(seq=41)))
    assert store.watermark("bench-1", BOOT) == 41
    take(store, encode_readings(make_pack(seq=7)))
    assert [pack.seq for pack in store.readings("bench-1", BOOT, 1, 41)] == [1, 7, 41]
    assert [(one.first, one.last) for one in store.packs.gaps("bench-1", BOOT)] == [(2, 40)]


def test_a_thinned_boot_of_many_gaps_is_accounted_for(store: Store, make_pack: MakePack) -> None:
    backlog = []
    for seq in range(1, 2401, 2):
        backlog += [encode_readings(make_pack(seq=seq)), gap(seq + 1, seq + 1)]
    take(store, *reversed(backlog[1:]))
    assert store.watermark("bench-1", BOOT) == 0
    take(store, backlog[0])
    assert store.watermark("bench-1", BOOT) == 2400


def test_an_absurd_reading_with_a_readable_number_is_kept_aside_and_counts(
    store: Store, make_pack: MakePack
) -> None:
    payload = damaged(make_pack(seq=1))
    taken = take(store, payload, encode_readings(make_pack(seq=2)))
    assert taken.watermarks == {("bench-1", BOOT): 2}
    (aside,) = store.aside.all()
    assert "1037.55" in aside.refusal.reason
    assert aside.payload == payload
    assert aside.refusal.accounts


def test_a_reading_beats_a_refused_message_of_its_number(store: Store, make_pack: MakePack) -> None:
    good = make_pack(seq=1)
    take(store, damaged(good))
    take(store, encode_readings(good))
    assert store.readings("bench-1", BOOT, 1, 1) == [good]


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"not JSON at all", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b"{}", "JSON array"),
        (b"0", "JSON array"),
        (b'[{"bn":"ohmbath:bench-1:rig-a:","n":"boot","vs":17}]', "boot"),
        (b'[{"bn":"ohmbath:bench-1:rig-a:","n":"seq","v":NaN}]', "boot"),
        (b'["\\ud800"]', "first record"),
        (b"[" * 100_000, "over the limit"),
        (b"[" * 60_000, "not JSON"),
    ],
)
def test_a_message_without_a_readable_number_is_kept_aside_with_its_reason(
    store: Store, make_pack: MakePack, payload: bytes, words: str
) -> None:
    taken = take(store, payload, encode_readings(make_pack(seq=1)), payload)
    assert [pack.seq for pack in taken.readings] == [1]
    (aside,) = store.aside.all()
    assert words in aside.refusal.reason
    assert not aside.refusal.accounts
    assert aside.count == 2


def test_an_unknown_station_is_kept_aside_with_the_command_that_adds_it(
    store: Store, make_pack: MakePack
) -> None:
    take(store, encode_readings(make_pack("bench-9")), station="bench-9")
    (aside,) = store.aside.all()
    assert "ohmbath station add bench-9" in aside.refusal.reason
    assert store.watermark("bench-9", BOOT) == 0


def test_a_station_is_tied_to_the_first_rig_that_speaks(store: Store, make_pack: MakePack) -> None:
    take(store, encode_readings(make_pack(seq=1, rig="rig-a")))
    taken = take(store, encode_readings(make_pack(seq=2, rig="rig-b")))
    assert taken.readings == ()
    assert store.watermark("bench-1", BOOT) == 1
    (aside,) = store.aside.all()
    assert "rig-b" in aside.refusal.reason
    assert store.stations.get("bench-1").rig == "rig-a"


def test_a_pack_that_names_another_station_is_not_taken_for_this_one(
    store: Store, make_pack: MakePack
) -> None:
    store.stations.add("bench-2")
    take(store, encode_readings(make_pack("bench-2")), station="bench-1")
    assert store.readings("bench-1", BOOT, 1, 1) == []
    assert "bench-2" in store.aside.all()[0].refusal.reason


def test_garbage_beyond_the_daily_limit_is_counted_and_its_bytes_let_go(store: Store) -> None:
    take(store, *(f"garbage {number}".encode() for number in range(DAILY_LIMIT + 25)))
    aside = store.aside.all(limit=5 * DAILY_LIMIT)
    assert sum(message.payload is not None for message in aside) == DAILY_LIMIT
    assert [message.count for message in aside if message.payload is None] == [25]
    take(store, b"garbage of the next day", at_utc_s=NOON_UTC_S + 86_400)
    assert store.aside.all()[0].payload == b"garbage of the next day"


def test_messages_that_count_are_kept_beyond_the_daily_limit(store: Store, make_pack: MakePack) -> None:
    payloads = [damaged(make_pack(seq=seq)) for seq in range(1, DAILY_LIMIT + 51)]
    for start in range(0, len(payloads), 200):
        take(store, *payloads[start : start + 200])
    assert store.watermark("bench-1", BOOT) == DAILY_LIMIT + 50
    assert all(message.payload for message in store.aside.all(limit=5 * DAILY_LIMIT))


# -- the same as laws: whatever comes in whatever order ----------------------------------------


@pytest.fixture(scope="module")
def wide_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    opened = open_store(DataFolder(tmp_path_factory.mktemp("desk")))
    yield opened
    opened.close()


FRESH_STATION = (f"law-{number}" for number in count())
NUMBERS = st.integers(1, 12)
MESSAGES = st.lists(
    st.one_of(
        st.tuples(st.just("reading"), NUMBERS),
        st.tuples(st.just("other bytes"), NUMBERS),
        st.tuples(st.just("damaged"), NUMBERS),
        st.tuples(st.just("gap"), st.tuples(NUMBERS, NUMBERS).map(sorted).map(tuple)),
        st.tuples(st.just("other rig"), NUMBERS),
        st.tuples(st.just("garbage"), st.binary(max_size=40)),
    ),
    max_size=40,
)


def as_payload(message: tuple[str, object], station: str, make_pack: MakePack) -> bytes:
    kind, what = message
    match kind, what:
        case "reading", int(seq):
            return encode_readings(make_pack(station, seq))
        case "other bytes", int(seq):
            return encode_readings(make_pack(station, seq, decade_ohm=4700.0))
        case "damaged", int(seq):
            return damaged(make_pack(station, seq))
        case "other rig", int(seq):
            return encode_readings(make_pack(station, seq, rig="rig-b"))
        case "gap", (int(first), int(last)):
            return gap(first, last, station)
        case "garbage", bytes(payload):
            return payload
    raise AssertionError(kind)


@settings(max_examples=150, deadline=None)
@given(messages=MESSAGES, cuts=st.sets(st.integers(0, 40)))
def test_the_watermark_is_right_and_nothing_is_lost_or_stored_twice(
    wide_store: Store, make_pack: MakePack, messages: list[tuple[str, object]], cuts: set[int]
) -> None:
    station = next(FRESH_STATION)
    wide_store.stations.add(station)
    wide_store.stations.meet(station, "rig-a")
    edges = sorted({0, len(messages), *(cut for cut in cuts if cut < len(messages))})
    new: list[ReadingPack] = []
    for start, end in zip(edges, edges[1:], strict=False):
        payloads = [as_payload(message, station, make_pack) for message in messages[start:end]]
        new += take(wide_store, *payloads, station=station).readings

    expected: dict[int, str] = {}
    accounted: set[int] = set()
    for kind, what in messages:
        if kind in ("reading", "other bytes"):
            expected.setdefault(what, kind)
        if kind in ("reading", "other bytes", "damaged"):
            accounted.add(what)
        if kind == "gap":
            accounted |= set(range(what[0], what[1] + 1))
    w = 0
    while w + 1 in accounted:
        w += 1

    assert wide_store.watermark(station, BOOT) == w
    stored = wide_store.readings(station, BOOT, 1, 99)
    assert [pack.seq for pack in stored] == sorted(expected)
    assert sorted(new, key=lambda pack: pack.seq) == stored
    for pack in stored:
        assert (pack.decade_ohm == 4700.0) == (expected[pack.seq] == "other bytes")


# Half a surrogate pair passes as JSON, and no database takes it as text.
ANY_TEXT = st.text(st.characters(exclude_categories=()))


@settings(max_examples=150, deadline=None)
@given(payload=st.one_of(st.binary(), st.text().map(str.encode), st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | ANY_TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(
        st.sampled_from(["bn", "n", "v", "vs", "vb", "u", "t", "bt"]) | ANY_TEXT, inner, max_size=5
    ),
).map(lambda value: json.dumps(value).encode())))  # fmt: skip
def test_garbage_is_kept_aside_with_a_reason_and_stops_nothing(
    wide_store: Store, make_pack: MakePack, payload: bytes
) -> None:
    station = next(FRESH_STATION)
    wide_store.stations.add(station)
    taken = take(wide_store, payload, encode_readings(make_pack(station, 1)), station=station)
    assert [pack.seq for pack in taken.readings] == [1]
    assert taken.aside == 1
    assert wide_store.aside.all(station)[0].refusal.reason


@settings(max_examples=100, deadline=None)
@given(order=st.permutations(range(1, 31)), resent=st.lists(st.integers(1, 30)))
def test_any_order_of_arrival_ends_with_the_same_store(
    wide_store: Store, make_pack: MakePack, order: list[int], resent: list[int]
) -> None:
    station = next(FRESH_STATION)
    wide_store.stations.add(station)
    for start in range(0, 60, 7):
        part = [*order, *resent][start : start + 7]
        take(wide_store, *(encode_readings(make_pack(station, seq)) for seq in part), station=station)
    assert wide_store.watermark(station, BOOT) == 30
    assert [pack.seq for pack in wide_store.readings(station, BOOT, 1, 30)] == list(range(1, 31))
