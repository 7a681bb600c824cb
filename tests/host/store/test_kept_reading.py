"""A reading rests on the message that came: whatever is changed beside it, or in it, is seen."""

import dataclasses
import json
from collections.abc import Callable

from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.readings import ChannelReading, Quality, ReadingPack
from calibration.contract.senml import encode_readings
from host.store.kept_reading import KeptReading, digest_of
from host.store.rests_on import differs_from, digest_of_events
from host.store.runs import TimedEvent

TAPS = {"sender.tap0": 4000.0, "sender.tap1": 2100.25, "sender.tap2": 200.5}
COUNT = 4096.0 * (2100.25 - 200.5) / (4000.0 - 200.5)
OTHER = {
    "station": st.just("bench-2"),
    "boot": st.just("00000009-0000abcd"),
    "seq": st.integers(2, 2**40),
    "digest": st.text("0123456789abcdef", min_size=64, max_size=64),
    "rig": st.just("rig-b"),
    "rig_time_s": st.floats(1.0, 1e9),
    "utc_s": st.none() | st.floats(1.8e9, 4e9),
    "simulated": st.just(False),
    "decade_ohm": st.floats(0.1, 1e5),
    "insertion": st.sampled_from(("sender", "probe", "series", "parallel", "nowhere")),
    "range_ohm": st.floats(1.0, 2000.0),
}


def kept(make_pack: Callable[..., ReadingPack], **changes: object) -> KeptReading:
    sender = ChannelReading(quality=Quality.GOOD, raw=COUNT, value=2500.0)
    usual = {"channels": {"sender": sender}, "taps": TAPS, "utc_s": 1.75e9}
    pack = make_pack(**{**usual, **changes})
    return KeptReading.of(pack, encode_readings(pack), 1.75e9)


def test_a_reading_as_it_came_agrees_with_all_that_stands_beside_it(make_pack) -> None:
    assert kept(make_pack).disagreement() is None
    assert kept(make_pack, utc_s=None, taps={}).disagreement() is None


@given(data=st.data(), column=st.sampled_from(sorted(OTHER)))
def test_a_column_changed_beside_the_message_is_named_with_both_values(make_pack, data, column) -> None:
    changed = data.draw(OTHER[column])
    one = kept(make_pack)
    words = dataclasses.replace(one, **{column: changed}).disagreement()
    assert words is not None
    assert words.startswith(
        {"station": "its message cannot be read", "digest": "SHA-256"}.get(column, column)
    )
    if column not in ("station", "utc_s"):
        assert f"stored {changed}, its message" in words
        assert str(getattr(one, column)) in words


@given(at=st.integers(0, 40), factor=st.floats(1.0001, 1.5))
def test_any_value_of_the_message_that_is_changed_is_seen(make_pack, at, factor) -> None:
    one = kept(make_pack)
    records = json.loads(one.payload)
    record = records[at % len(records)]
    if "v" in record:
        record["v"] = record["v"] * factor + 1
    elif "vb" in record:
        record["vb"] = not record["vb"]
    else:
        record["vs"] = {"good": "stale", "none": "series"}.get(record["vs"], record["vs"] + "x")
    payload = json.dumps(records).encode()
    assert dataclasses.replace(one, payload=payload).disagreement() is not None


def test_a_tap_changed_together_with_the_digest_is_seen_by_its_count(make_pack) -> None:
    one = kept(make_pack, taps={**TAPS, "sender.tap1": 2101.25})
    assert one.disagreement() is not None
    assert "by its taps it is 2049." in one.disagreement()


def test_the_taps_of_the_probe_are_held_against_its_count_too_and_to_less_than_a_count(make_pack) -> None:
    taps = {name.replace("sender", "probe"): ohm for name, ohm in TAPS.items()}
    agree = {"probe": ChannelReading(quality=Quality.GOOD, raw=COUNT, value=5000.0)}
    assert kept(make_pack, channels=agree, taps=taps).disagreement() is None
    off = {"probe": ChannelReading(quality=Quality.GOOD, raw=COUNT + 0.001, value=5000.0)}
    assert (kept(make_pack, channels=off, taps=taps).disagreement() or "").startswith("probe.raw")


def test_readings_and_events_have_one_digest_each_that_no_change_leaves_alone(make_pack) -> None:
    readings = [kept(make_pack, seq=seq) for seq in (1, 2, 3)]
    events = [TimedEvent(kind="started", payload={"settings": {"air_c": 21.5}}, appended_utc_s=1.75e9)]
    cites = {"readings": {"station": "bench-1", "boot": readings[0].boot, "from": 1, "to": 3}}
    events.append(TimedEvent(kind="window_closed", payload=cites, appended_utc_s=1.75e9 + 60.0))
    said = {
        "events": 2,
        "events_sha256": digest_of_events(events),
        "readings": 3,
        "readings_sha256": digest_of(readings),
    }
    assert differs_from(said, events, readings) is None
    assert differs_from(said, events, readings[::-1]) is None  # their numbers say the order
    assert differs_from({}, events, readings) is None  # of before
    later = [*events, TimedEvent(kind="result", payload={"certificate": "000001"}, appended_utc_s=1.8e9)]
    assert differs_from(said, later, readings) is None
    gone = differs_from(said, events, readings[:2])
    assert gone == "readings: 3 were cited when it was issued, and 2 are here now"
    when = [*readings[:2], dataclasses.replace(readings[2], received_utc_s=1.75e9 + 1.0)]
    assert "what came, or when" in differs_from(said, events, when)
    other = [dataclasses.replace(events[0], payload={"settings": {"air_c": 21.6}}), events[1]]
    assert "2 others" in differs_from(said, other, readings)
    assert differs_from(said, events[:1], readings) is not None
