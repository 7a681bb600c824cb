"""What the rig drops it says: stored ones first, then idle ones thinned, then no new ones taken."""

from pathlib import Path

import pytest

from calibration.contract.joining import JoinFile
from calibration.contract.presence import Stored
from calibration.contract.readings import GapPack
from calibration.contract.senml import decode_readings
from rig.bell import Bell
from rig.joining import JoinError, join_rig, new_rig_id, read_join_file
from rig.outbox import Outbox
from rig.outbox_file import OutboxError, OutboxFile
from rig.outbox_room import KEPT_OF

PAYLOAD = b"x" * 1500
# The file without a message has some 60 kB.
ROOM = 600_000


def _open(folder: Path, *, keep_bytes: int = ROOM) -> tuple[OutboxFile, Outbox]:
    file = OutboxFile(folder / "outbox.sqlite")
    return file, Outbox(file, Bell(), keep_bytes=keep_bytes)


def _append(outbox: Outbox, count: int) -> None:
    for _ in range(count // 4):
        outbox.append_all([lambda seq: PAYLOAD] * 4, kept_at_utc_s=1000.0)


def _stored(n: int, boots: dict[str, int], **changes: object) -> Stored:
    return Stored(**{"store": "store-a", "epoch": 1, "n": n, "boots": boots, **changes})  # type: ignore[arg-type]


def _gaps(file: OutboxFile, outbox: Outbox, boot: str | None = None) -> list[tuple[int, int, str]]:
    found = []
    for _, payload in outbox.messages(boot or file.boot, 1, 10**9):
        if payload != PAYLOAD:
            gap = decode_readings(payload, station=file.station)
            assert isinstance(gap, GapPack)
            assert (gap.rig, gap.boot) == (file.rig, boot or file.boot)
            found.append((gap.first, gap.last, gap.reason))
    return found


def _readings(file: OutboxFile, outbox: Outbox) -> list[int]:
    return [seq for seq, payload in outbox.messages(file.boot, 1, 10**9) if payload == PAYLOAD]


def _accounted(file: OutboxFile, outbox: Outbox) -> set[int]:
    spans = [range(first, last + 1) for first, last, _ in _gaps(file, outbox)]
    return {*_readings(file, outbox), *(seq for span in spans for seq in span)}


def test_short_of_room_stored_messages_go_first_and_no_gap_is_needed(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 256)
    outbox.hear(_stored(1, {file.boot: 256}), live=True)
    _append(outbox, 256)
    assert _gaps(file, outbox) == []
    assert not outbox.full and not outbox.thinned
    first, last = outbox.holds()[file.boot]
    assert 1 < first <= 257
    assert _readings(file, outbox) == list(range(first, last + 1))
    file.close()


def test_short_of_room_without_a_desk_one_idle_reading_in_ten_seconds_stays_and_the_rest_is_declared(
    tmp_path: Path,
) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 1024)
    assert outbox.thinned
    assert not outbox.full
    kept = _readings(file, outbox)
    assert _accounted(file, outbox) == set(range(1, 1025)), "nothing is left out"
    gaps = _gaps(file, outbox)
    assert {reason for _, _, reason in gaps} == {"thinned"}
    assert (2, KEPT_OF, "thinned") in gaps
    assert set(range(1, 400, KEPT_OF)) <= set(kept)
    assert 1024 in kept, "the newest are kept whole"
    file.close()


def test_from_the_beginning_of_an_open_run_nothing_is_thinned_and_then_no_new_one_is_taken(
    tmp_path: Path,
) -> None:
    file, outbox = _open(tmp_path)
    outbox.hear(_stored(1, {}, keep=(file.boot, 100)), live=True)
    _append(outbox, 1024)
    assert outbox.full
    gaps = _gaps(file, outbox)
    thinned = [(first, last) for first, last, reason in gaps if reason == "thinned"]
    assert thinned and max(last for _, last in thinned) < 100
    (full,) = [(first, last) for first, last, reason in gaps if reason == "full"]
    assert full[1] == 1024, "one gap that grows, not one for each pass"
    assert _readings(file, outbox)[-1] == full[0] - 1
    assert _accounted(file, outbox) == set(range(1, 1025))
    file.close()


def test_the_last_word_of_where_a_run_began_holds_over_a_start(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    outbox.hear(_stored(1, {}, keep=(file.boot, 1)), live=True)
    _append(outbox, 128)
    boot = file.boot
    file.close()
    file, outbox = _open(tmp_path, keep_bytes=100_000)
    _append(outbox, 128)
    assert outbox.full
    assert _gaps(file, outbox, boot) == []
    file.close()


def test_a_full_outbox_takes_readings_again_once_a_desk_has_taken_the_old_ones(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    outbox.hear(_stored(1, {}, keep=(file.boot, 1)), live=True)
    _append(outbox, 640)
    assert outbox.full
    outbox.hear(_stored(2, {file.boot: 640}), live=True)
    _append(outbox, 128)
    assert not outbox.full
    assert _readings(file, outbox)[-1] == 768
    file.close()


def test_what_a_restored_desk_lacks_and_the_rig_no_longer_has_is_declared(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 40)
    outbox.hear(_stored(1, {file.boot: 40}), live=True)
    outbox.prune(now_utc_s=1e9)
    _append(outbox, 8)
    outbox.hear(_stored(1, {file.boot: 12}, epoch=2), live=True)
    assert _gaps(file, outbox) == [(13, 40, "deleted_after_stored")]
    assert outbox.holds() == {file.boot: (13, 48)}
    file.close()


def test_numbers_that_a_damaged_card_lost_are_declared_at_the_next_start(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 20)
    outbox.hear(_stored(1, {file.boot: 4}), live=True)
    boot = file.boot
    with file.transaction() as db:
        db.execute("DELETE FROM message WHERE seq IN (2, 7, 8, 20)")
    file.close()
    file, outbox = _open(tmp_path)
    assert outbox.lost_to_damage == 3
    assert _gaps(file, outbox, boot) == [(7, 8, "corrupt"), (20, 20, "corrupt")]
    file.close()


JOIN = JoinFile(station="bench-7", store="store-b", host="desk.local", port=8883)


def _joined(folder: Path, join: JoinFile = JOIN) -> tuple[OutboxFile, Outbox]:
    file = OutboxFile(folder / "outbox.sqlite", starts_boot=False)
    try:
        join_rig(file, join)
    finally:
        file.close()
    return _open(folder)


def test_joining_a_new_store_offers_all_that_is_held_and_declares_the_rest(tmp_path: Path) -> None:
    file = OutboxFile(tmp_path / "outbox.sqlite", station="bench-7")
    outbox = Outbox(file, Bell())
    _append(outbox, 20)
    outbox.hear(_stored(5, {file.boot: 20}, epoch=3), live=True)
    outbox.prune(now_utc_s=1e9)
    _append(outbox, 8)
    boot = file.boot
    file.close()
    file, outbox = _joined(tmp_path)
    assert outbox.boots()[boot].watermark == 0
    assert _gaps(file, outbox, boot) == [(1, 20, "deleted_after_stored")]
    assert outbox.holds()[boot] == (1, 28)
    file.close()


def test_a_joined_rig_follows_its_store_from_the_first_word_and_never_another(tmp_path: Path) -> None:
    from rig.outbox import Heard

    file, outbox = _joined(tmp_path)
    _append(outbox, 4)
    assert outbox.hear(_stored(9, {file.boot: 4}), live=True) is Heard.OTHER_STORE
    assert outbox.behind() == 4
    assert outbox.hear(_stored(1, {file.boot: 4}, store="store-b"), live=False) is Heard.OBEYED
    assert outbox.behind() == 0
    file.close()


def test_joining_the_same_store_again_changes_the_address_alone(tmp_path: Path) -> None:
    file, outbox = _joined(tmp_path)
    _append(outbox, 8)
    boot = file.boot
    outbox.hear(_stored(1, {boot: 8}, store="store-b"), live=True)
    file.close()
    moved = JoinFile(station="bench-7", store="store-b", host="elsewhere", port=1883)
    file, outbox = _joined(tmp_path, moved)
    assert outbox.waiting() == 0
    assert file.joined == moved
    file.close()


def test_a_station_is_not_changed_while_messages_of_the_old_one_wait(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 4)
    boot = file.boot
    file.close()
    with pytest.raises(OutboxError, match="4 messages of station-1"):
        _joined(tmp_path)
    file = OutboxFile(tmp_path / "outbox.sqlite")
    Outbox(file, Bell()).hear(_stored(1, {boot: 4}), live=True)
    file.close()
    file, outbox = _joined(tmp_path)
    assert file.station == "bench-7"
    assert list(outbox.boots()) == [file.boot]
    file.close()


def test_a_copied_card_gets_an_id_of_its_own_and_leaves_the_readings_to_the_first(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(outbox, 4)
    rig = file.rig
    file.close()
    file = OutboxFile(tmp_path / "outbox.sqlite", starts_boot=False)
    new_rig_id(file)
    join_rig(file, JOIN)
    file.close()
    file, outbox = _open(tmp_path)
    assert file.rig != rig
    assert outbox.waiting() == 0
    file.close()


def test_a_file_that_is_no_joining_file_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "join.toml"
    for text, words in (
        ("shopping = 1", "format"),
        ("[", "no joining file"),
        ('format = 1\nstation = "A"', "st"),
    ):
        path.write_text(text)
        with pytest.raises(JoinError, match=words):
            read_join_file(path)
    with pytest.raises(JoinError, match="cannot be read"):
        read_join_file(tmp_path / "missing")


def test_an_outbox_of_the_first_version_is_taken_up_with_all_it_holds(tmp_path: Path) -> None:
    """Made as the first version made it, by its own statements."""
    import sqlite3

    from rig.outbox_file import _SCHEMA_1

    with sqlite3.connect(tmp_path / "outbox.sqlite") as db:
        for statement in _SCHEMA_1:
            db.execute(statement)
        db.execute("INSERT INTO rig VALUES (1, 'rig-old', 'bench-3', 1)")
        db.execute("INSERT INTO boot VALUES ('00000001-0a0b0c0d', 2, 1, 0)")
        db.execute("INSERT INTO desk VALUES (1, 'store-a', 0, 7)")
        db.executemany("INSERT INTO message VALUES ('00000001-0a0b0c0d', ?, 0, x'78')", [(1,), (2,)])
        db.execute("PRAGMA user_version = 1")
    db.close()
    file, outbox = _open(tmp_path)
    assert (file.rig, file.station, file.boot[:8]) == ("rig-old", "bench-3", "00000002")
    assert outbox.waiting() == 1
    assert outbox.obeys is not None and outbox.obeys.n == 7
    file.close()
