"""Packs of readings: what is said is what is heard, and garbage is refused in words."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.messages import MessageError
from calibration.contract.readings import (
    CHANNEL_UNITS,
    GAP_REASONS,
    TAP_NAMES,
    BurstReading,
    ChannelReading,
    GapPack,
    Insertion,
    Quality,
    ReadingPack,
)
from calibration.contract.senml import decode_readings, encode_gap, encode_readings

BOOT = "00000001-ab12cd34"
_BOOTS = st.from_regex(r"[0-9]{8}-[0-9a-f]{8}", fullmatch=True)
_STATIONS = st.from_regex(r"[a-z0-9][a-z0-9-]{0,31}", fullmatch=True)
_RIGS = st.from_regex(r"[0-9a-f]{16}", fullmatch=True)
_WORDS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=40)
_OHM = st.floats(0, 1e9)
_COUNTS = st.floats(-1e6, 1e6)
_JSON: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=10,
)


def _channel(unit: str) -> st.SearchStrategy[ChannelReading]:
    value = _OHM if unit == "Ohm" else st.floats(-100, 500)
    good = st.builds(
        ChannelReading, quality=st.just(Quality.GOOD), raw=st.none() | _COUNTS, value=value, reason=st.none()
    )
    bad = st.builds(
        ChannelReading,
        quality=st.sampled_from([word for word in Quality if word is not Quality.GOOD]),
        raw=st.none() | _COUNTS,
        value=st.none() | value,
        reason=_WORDS,
    )
    return good | bad


_PACKS = st.builds(
    ReadingPack,
    station=_STATIONS,
    rig=_RIGS,
    boot=_BOOTS,
    seq=st.integers(1, 2**53 - 1),
    rig_time_s=st.integers(0, 10**10).map(lambda ms: ms / 1000),
    simulated=st.booleans(),
    decade_ohm=_OHM,
    insertion=st.sampled_from(Insertion),
    range_ohm=_OHM,
    sender_duty=st.none() | st.floats(0.0, 1.0),
    infrared_emissivity=st.none() | st.floats(0.0, 1.0),
    channels=st.fixed_dictionaries({}, optional={name: _channel(u) for name, u in CHANNEL_UNITS.items()}),
    taps=st.fixed_dictionaries({}, optional={name: _COUNTS for name in TAP_NAMES}),
    utc_s=st.none() | st.floats(1.5e9, 4.2e9),
    clock_step_s=st.none() | st.floats(-1e9, 1e9),
    burst=st.lists(
        st.tuples(st.integers(0, 2000), _COUNTS, st.none() | _OHM), max_size=6, unique_by=lambda one: one[0]
    ).map(
        lambda singles: tuple(
            BurstReading(before_s=ms / 1000, raw=raw, value=value)
            for ms, raw, value in sorted(singles, key=lambda one: -one[0])
        )
    ),
    shots_before_s=st.lists(st.integers(0, 500).map(lambda ms: ms / 1000), max_size=3).map(tuple),
)


def _plain_pack() -> ReadingPack:
    return ReadingPack(
        station="station-1", rig="0123456789abcdef", boot=BOOT, seq=7, rig_time_s=1.5, simulated=True,
        decade_ohm=0.0, insertion=Insertion.NONE, range_ohm=2700.0, utc_s=1.8e9,
        channels={"probe": ChannelReading(quality=Quality.GOOD, raw=2048.0, value=10_000.0)},
    )  # fmt: skip


def _plain_records() -> list[dict[str, Any]]:
    records = json.loads(encode_readings(_plain_pack()))
    assert isinstance(records, list)
    return records


def _refusal(records: Any) -> MessageError:
    with pytest.raises(MessageError) as caught:
        decode_readings(json.dumps(records).encode(), station="station-1")
    return caught.value


@given(_PACKS)
def test_a_pass_arrives_as_it_was_sent(pack: ReadingPack) -> None:
    assert decode_readings(encode_readings(pack), station=pack.station) == pack


@pytest.mark.parametrize(
    ("records", "words"),
    [
        ([{"n": "sender.burst", "u": "Ohm", "v": 1.0, "t": -0.5}], "ohms without a count"),
        ([{"n": "sender.burst.raw", "u": "count", "v": 1.0, "t": 0.5}], "not be after the pass"),
        ([{"n": "sender.burst.raw", "u": "count", "v": 1.0, "t": -0.5}] * 2, "no two at one time"),
        ([{"n": "shot", "vb": False, "t": -0.5}], "must be true"),
    ],
)
def test_a_damaged_burst_or_shot_is_refused_in_words(records: list[dict[str, Any]], words: str) -> None:
    error = _refusal([*_plain_records(), *records])
    assert words in str(error)
    assert (error.boot, error.seq) == (BOOT, 7), "its number counts all the same"


def test_a_pass_of_a_rig_that_does_not_say_its_duty_is_read_as_it_was() -> None:
    assert not any(record["n"] == "sender.duty" for record in _plain_records())
    pack = decode_readings(json.dumps(_plain_records()).encode(), station="station-1")
    assert isinstance(pack, ReadingPack)
    assert pack.sender_duty is None


@pytest.mark.parametrize(
    "record", [{"u": "/", "v": 1.5}, {"u": "/", "v": -0.1}, {"v": 0.25}, {"u": "/", "vs": "full"}]
)
@pytest.mark.parametrize("name", ["sender.duty", "infrared.emissivity"])
def test_a_duty_or_an_emissivity_that_is_no_share_is_refused(name: str, record: dict[str, Any]) -> None:
    error = _refusal([*_plain_records(), {"n": name, **record}])
    assert name in str(error)
    assert (error.boot, error.seq) == (BOOT, 7), "its number counts all the same"


@given(
    st.builds(
        GapPack, station=_STATIONS, rig=_RIGS, boot=_BOOTS, first=st.integers(1, 10**6),
        last=st.integers(10**6, 10**9), reason=st.sampled_from(GAP_REASONS),
    )
)  # fmt: skip
def test_a_declared_gap_arrives_as_it_was_sent(gap: GapPack) -> None:
    assert decode_readings(encode_gap(gap), station=gap.station) == gap


@given(st.binary(max_size=200))
def test_bytes_that_are_no_pack_are_refused_in_words(payload: bytes) -> None:
    with pytest.raises(MessageError, match="."):
        decode_readings(payload, station="station-1")


@given(st.lists(_JSON, max_size=6) | _JSON)
def test_json_that_is_no_pack_is_refused_in_words(value: Any) -> None:
    assert str(_refusal(value))


@given(st.data())
def test_a_pack_with_any_damaged_record_is_taken_whole_or_refused_and_keeps_its_key(
    data: st.DataObject,
) -> None:
    records = _plain_records()
    index = data.draw(st.integers(0, len(records) - 1))
    field = data.draw(st.sampled_from([*records[index], "t", "bver", "v"]))
    is_key = records[index]["n"] in ("boot", "seq") and field in ("n", "v", "vs")
    records[index][field] = data.draw(_JSON)
    try:
        pack = decode_readings(json.dumps(records).encode(), station="station-1")
    except MessageError as error:
        if not is_key:
            assert (error.boot, error.seq) == (BOOT, 7)
    else:
        assert isinstance(pack, ReadingPack)
        assert math.isfinite(pack.rig_time_s)
        encode_readings(pack)  # what is taken can be written down again


def test_a_pack_of_another_station_is_refused_but_counts() -> None:
    with pytest.raises(MessageError, match="station-2") as caught:
        decode_readings(encode_readings(_plain_pack()), station="station-2")
    assert (caught.value.boot, caught.value.seq) == (BOOT, 7)


@pytest.mark.parametrize(
    ("name", "field", "value", "words"),
    [
        ("probe", "v", -1.0, "absurd"),
        ("probe", "v", 2e9, "absurd"),
        ("probe", "u", "kOhm", "unit"),
        ("probe", "v", True, "number"),
        ("probe.quality", "vs", "fine", "must be one of"),
        ("probe.quality", "vs", "half \ud800", "half a character"),
        ("probe.quality", "vs", "nul \0", "NUL"),
        ("insertion", "vs", "sideways", "must be one of"),
        ("rig_time", "v", -0.001, "before the start"),
        ("rig_time", "t", 1.0, "after the pass"),
        ("rig_time", "bver", 11, "label"),
        ("simulated", "vb", 1, "wrong type"),
        ("decade", "vs", "100", "exactly one value"),
    ],
)
def test_a_wrong_record_is_refused_by_name_and_the_key_is_kept(
    name: str, field: str, value: Any, words: str
) -> None:
    records = _plain_records()
    next(record for record in records if record["n"] == name)[field] = value
    error = _refusal(records)
    assert words in str(error)
    assert (error.boot, error.seq) == (BOOT, 7)


def test_seconds_since_boot_never_pass_as_a_date() -> None:
    records = _plain_records()
    records[0]["bt"] = 86_400.0
    assert "no UTC of this century" in str(_refusal(records))


def test_the_same_record_twice_is_refused() -> None:
    records = _plain_records()
    assert "not of the contract" in str(_refusal([*records, records[3]]))


def test_a_record_of_another_contract_is_refused() -> None:
    assert "not of the contract" in str(_refusal([*_plain_records(), {"n": "rumour", "v": 1}]))


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_that_is_none_is_refused(word: str) -> None:
    payload = encode_readings(_plain_pack()).replace(b'"v":10000.0', f'"v":{word}'.encode())
    assert word.encode() in payload
    with pytest.raises(MessageError, match="number"):
        decode_readings(payload, station="station-1")


def test_a_pack_nested_beyond_all_depth_is_refused_in_words() -> None:
    for depth in (200, 900, 100_000 // 4):
        nested = b"[" * depth + b"]" * depth
        payload = encode_readings(_plain_pack()).replace(b'"v":10000.0', b'"v":' + nested)
        with pytest.raises(MessageError, match="."):
            decode_readings(payload, station="station-1")


def test_a_pack_over_the_limit_of_the_wire_is_refused() -> None:
    payload = encode_readings(_plain_pack()) + b" " * 65_536
    with pytest.raises(MessageError, match="over the limit of 65536"):
        decode_readings(payload, station="station-1")


def test_a_bad_reading_without_a_reason_cannot_be_made() -> None:
    with pytest.raises(MessageError, match="reason"):
        ChannelReading(quality=Quality.OPEN)
    with pytest.raises(MessageError, match="reason"):
        ChannelReading(quality=Quality.GOOD, value=1.0, reason="but")
    with pytest.raises(MessageError, match="value"):
        ChannelReading(quality=Quality.GOOD)


# RFC 8428, section 4.3 (labels) and 12.1 (units "Cel", "Ohm", "s", "count", and "/" for a ratio)
RFC_8428_UNITS = {"Cel", "Ohm", "s", "count", "/"}
RFC_8428_LABELS = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}


@given(_PACKS)
def test_every_record_is_plain_senml_that_other_tools_read(pack: ReadingPack) -> None:
    for record in json.loads(encode_readings(pack)):
        assert record.keys() <= RFC_8428_LABELS
        assert sum(label in record for label in ("v", "vs", "vb", "vd")) == 1
        assert record.get("u") in RFC_8428_UNITS | {None}
