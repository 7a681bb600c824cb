"""The outbox: no number twice, none left out, nothing deleted before the desk has it."""

import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from calibration.contract.presence import Stored
from calibration.contract.topics import is_boot
from rig.bell import Bell
from rig.outbox import Heard, Outbox
from rig.outbox_file import OutboxError, OutboxFile

STORE = "store-a"
KILLS = 50


def _open(folder: Path) -> tuple[OutboxFile, Outbox]:
    file = OutboxFile(folder / "outbox.sqlite")
    return file, Outbox(file, Bell())


def _payload(boot: str, seq: int) -> bytes:
    return f"{boot} number {seq}".encode()


def _append(file: OutboxFile, outbox: Outbox, *, count: int = 1, kept_at_utc_s: float = 1000.0) -> None:
    for _ in range(count):
        outbox.append(lambda seq: _payload(file.boot, seq), kept_at_utc_s=kept_at_utc_s)


def _stored(n: int, boots: dict[str, int], *, store: str = STORE, epoch: int = 0) -> Stored:
    return Stored(store=store, epoch=epoch, n=n, boots=boots)


def test_numbers_begin_at_one_and_leave_none_out(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    given_numbers = [outbox.append(lambda seq: b"%d" % seq, kept_at_utc_s=0.0) for _ in range(5)]
    assert given_numbers == [1, 2, 3, 4, 5]
    assert outbox.messages(file.boot, 2, 4) == [(2, b"2"), (3, b"3"), (4, b"4")]
    file.close()


def test_a_message_that_cannot_be_written_down_uses_up_no_number(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    with pytest.raises(ValueError, match="over 65536"):
        outbox.append(lambda seq: b"x" * 65_537, kept_at_utc_s=0.0)
    with pytest.raises(ZeroDivisionError):
        outbox.append(lambda seq: b"%d" % (1 // 0), kept_at_utc_s=0.0)
    _append(file, outbox)
    assert outbox.messages(file.boot, 1, 9) == [(1, _payload(file.boot, 1))]
    file.close()


def test_each_start_is_a_boot_of_its_own_and_text_order_is_time_order(tmp_path: Path) -> None:
    boots, rigs = [], set()
    for _ in range(12):
        file, _ = _open(tmp_path)
        boots.append(file.boot)
        rigs.add(file.rig)
        file.close()
    assert all(is_boot(boot) for boot in boots)
    assert boots == sorted(set(boots))
    assert len(rigs) == 1


def test_a_second_rig_program_on_the_same_outbox_is_refused(tmp_path: Path) -> None:
    file, _ = _open(tmp_path)
    with pytest.raises(OutboxError, match="in use by another rig program"):
        _open(tmp_path)
    file.close()
    _open(tmp_path)[0].close()


def test_a_file_that_is_no_outbox_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "outbox.sqlite").write_bytes(b"a shopping list, long enough to be read as something" * 40)
    with pytest.raises(OutboxError, match="Move it aside"):
        _open(tmp_path)


def test_an_outbox_of_a_later_program_is_refused(tmp_path: Path) -> None:
    _open(tmp_path)[0].close()
    with sqlite3.connect(tmp_path / "outbox.sqlite") as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(OutboxError, match="version 99"):
        _open(tmp_path)


def test_a_folder_that_cannot_be_written_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(OutboxError, match="cannot be written"):
        _open(tmp_path / "missing")


def test_a_station_keeps_its_name_until_its_messages_are_stored(tmp_path: Path) -> None:
    path = tmp_path / "outbox.sqlite"
    file = OutboxFile(path, station="bench-7")
    outbox = Outbox(file, Bell())
    _append(file, outbox, count=3)
    boot = file.boot
    file.close()
    with pytest.raises(OutboxError, match="3 messages of bench-7"):
        OutboxFile(path, station="bench-8")
    file = OutboxFile(path)
    assert file.station == "bench-7"
    assert Outbox(file, Bell()).hear(_stored(1, {boot: 3}), live=True) is Heard.OBEYED
    file.close()
    file = OutboxFile(path, station="bench-8")
    assert file.station == "bench-8"
    file.close()


def test_a_retained_word_of_a_desk_adopts_no_store_and_a_live_one_does(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=2)
    assert outbox.hear(_stored(9, {file.boot: 2}, store="store-dead"), live=False) is Heard.NOT_LIVE
    assert outbox.obeys is None
    assert outbox.hear(_stored(1, {file.boot: 1}), live=True) is Heard.OBEYED
    assert outbox.behind() == 1
    assert outbox.hear(_stored(99, {file.boot: 2}, store="store-b"), live=True) is Heard.OTHER_STORE
    assert outbox.behind() == 1
    file.close()


def test_an_old_copy_of_the_desk_s_word_changes_nothing(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=5)
    outbox.hear(_stored(7, {file.boot: 3}), live=True)
    assert outbox.hear(_stored(7, {file.boot: 5}), live=True) is Heard.OLD
    assert outbox.hear(_stored(6, {file.boot: 5}), live=False) is Heard.OLD
    assert outbox.behind() == 2
    file.close()


def test_a_restored_desk_may_lower_the_watermark_once_per_boot(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=9)
    outbox.hear(_stored(7, {file.boot: 9}), live=True)
    # the first word of the new epoch does not name this boot yet
    assert outbox.hear(_stored(1, {}, epoch=1), live=True) is Heard.OBEYED
    assert outbox.behind() == 0
    outbox.hear(_stored(2, {file.boot: 4}, epoch=1), live=True)
    assert outbox.behind() == 5
    outbox.hear(_stored(3, {file.boot: 3}, epoch=1), live=True)
    assert outbox.behind() == 5
    assert outbox.hear(_stored(99, {file.boot: 9}, epoch=0), live=True) is Heard.OLD
    file.close()


def test_what_the_desk_said_outlives_the_program(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=4)
    boot = file.boot
    outbox.hear(_stored(5, {boot: 3}, epoch=2), live=True)
    file.close()
    file, outbox = _open(tmp_path)
    assert outbox.boots()[boot].watermark == 3
    assert outbox.waiting() == 1
    assert outbox.hear(_stored(5, {boot: 4}, epoch=2), live=True) is Heard.OLD
    file.close()


def test_a_desk_that_knows_more_than_was_ever_given_is_noticed(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=2)
    outbox.hear(_stored(1, {file.boot: 7, "00000099-00000000": 3}), live=True)
    assert outbox.surplus_heard
    assert outbox.behind() == 0
    file.close()


def test_only_stored_and_old_messages_are_deleted(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=6, kept_at_utc_s=1000.0)
    _append(file, outbox, count=2, kept_at_utc_s=5000.0)
    outbox.hear(_stored(1, {file.boot: 4}), live=True)
    assert outbox.prune(now_utc_s=5000.0, keep_stored_s=3000.0) == 4
    assert outbox.holds() == {file.boot: (5, 8)}
    assert outbox.prune(now_utc_s=1e9, keep_stored_s=3000.0) == 0
    _append(file, outbox)
    assert [seq for seq, _ in outbox.messages(file.boot, 1, 99)] == [5, 6, 7, 8, 9]
    file.close()


def test_an_emptied_boot_is_held_no_more_and_its_numbers_go_on(tmp_path: Path) -> None:
    file, outbox = _open(tmp_path)
    _append(file, outbox, count=3)
    outbox.hear(_stored(1, {file.boot: 3}), live=True)
    outbox.prune(now_utc_s=1e9)
    assert outbox.holds() == {}
    _append(file, outbox)
    assert outbox.holds() == {file.boot: (4, 4)}
    file.close()


class OutboxLaws(RuleBasedStateMachine):
    """Any order of keeping, hearing, pruning and restarting leaves the outbox true to its laws."""

    base: Path

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(dir=self.base))
        self.sent: dict[str, int] = {}
        self.marks: dict[str, int] = {}
        self.n = 0
        self.file, self.outbox = _open(self.folder)

    @rule(count=st.integers(1, 5))
    def keep(self, count: int) -> None:
        _append(self.file, self.outbox, count=count)
        self.sent[self.file.boot] = self.sent.get(self.file.boot, 0) + count

    @rule(data=st.data())
    def hear(self, data: st.DataObject) -> None:
        if not self.sent:
            return
        boot = data.draw(st.sampled_from(sorted(self.sent)))
        mark = data.draw(st.integers(self.marks.get(boot, 0), self.sent[boot]))
        self.n += 1
        assert self.outbox.hear(_stored(self.n, {boot: mark}), live=True) is Heard.OBEYED
        self.marks[boot] = mark

    @rule()
    def prune(self) -> None:
        self.outbox.prune(now_utc_s=1e12)

    @rule()
    def restart(self) -> None:
        self.outbox.settle()
        self.file.close()
        self.file, self.outbox = _open(self.folder)

    @invariant()
    def every_unstored_message_is_there_as_it_was(self) -> None:
        for boot, last in getattr(self, "sent", {}).items():
            mark = self.marks.get(boot, 0)
            expected = [(seq, _payload(boot, seq)) for seq in range(mark + 1, last + 1)]
            assert self.outbox.messages(boot, mark + 1, last + 1) == expected

    @invariant()
    def the_counts_are_true(self) -> None:
        if hasattr(self, "sent"):
            assert self.outbox.waiting() == sum(self.sent.values()) - sum(self.marks.values())
            assert list(self.outbox.boots()) == sorted(self.outbox.boots())

    def teardown(self) -> None:
        if hasattr(self, "file"):
            self.file.close()


@pytest.mark.slow
def test_any_order_of_work_leaves_the_outbox_true_to_its_laws(tmp_path: Path) -> None:
    machine = type("OutboxLawsHere", (OutboxLaws,), {"base": tmp_path})
    run_state_machine_as_test(
        machine, settings=settings(max_examples=25, stateful_step_count=25, deadline=None)
    )


@pytest.mark.slow
def test_a_rig_killed_in_the_middle_of_writing_repeats_no_number_and_leaves_none_out(tmp_path: Path) -> None:
    path = tmp_path / "outbox.sqlite"
    said: dict[str, int] = {}
    for kill in range(KILLS):
        writer = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("outbox_writer.py")), str(path)],
            stdout=subprocess.PIPE,
            text=True,
        )
        with writer:
            assert writer.stdout is not None
            boot = writer.stdout.readline().strip()
            for _ in range(7 * (kill % 10)):
                said[boot] = int(writer.stdout.readline())
            said.setdefault(boot, 0)
            writer.kill()  # SIGKILL, while it goes on writing
            rest = writer.stdout.read().split("\n")
            said[boot] = max([said[boot], *(int(line) for line in rest[:-1] if line)])
    file, outbox = _open(tmp_path)
    for boot, last_said in said.items():
        found = outbox.messages(boot, 0, 10**9)
        assert [seq for seq, _ in found] == list(range(1, len(found) + 1))
        assert len(found) >= last_said, "a message that was said to be kept is not there"
        assert all(payload == f"{boot}:{seq}".encode() for seq, payload in found)
        assert not found or outbox.boots()[boot].last == len(found)
    file.close()
