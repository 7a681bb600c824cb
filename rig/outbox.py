"""The rig's on-disk queue: every message is kept until the desk says that it is stored, and longer.

Numbers are given in the transaction that keeps the message, so none is used twice and none is left out.
"""

import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import Enum

from calibration.contract.presence import Obeys, Stored
from calibration.contract.topics import MAX_MESSAGE_BYTES
from rig.bell import Bell
from rig.outbox_file import OutboxFile
from rig.outbox_gaps import GapReason, declare_corrupt, declare_gap, declare_holes, gaps_between
from rig.outbox_room import KEEP_BYTES, allowed_bytes, delete_stored_before, make_room, used_bytes

log = logging.getLogger(__name__)

KEEP_STORED_S = 7 * 24 * 3600.0  # so that a desk restored from a backup can be filled again
_PASSES_BETWEEN_LOOKS = 64
_WRITE_HEARD_WITHIN_S = 2.0
_MOST_BOOTS_SAID = 800  # keeps a presence message well under the limit of the wire

Encode = Callable[[int], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class BootState:
    """How far one boot has come.

    Attributes
    ----------
    first_held : int
        Lowest number still in the outbox; above ``last`` where none is.
    last : int
        Highest number given, 0 before the first.
    watermark : int
        The desk has 1 … ``watermark``.
    epoch : int
        Restore counter under which the desk said so.
    """

    first_held: int
    last: int
    watermark: int
    epoch: int


class Heard(Enum):
    """What became of a desk's `stored` message."""

    OBEYED = "obeyed"
    OLD = "old"
    OTHER_STORE = "other store"
    NOT_LIVE = "not live"  # a retained copy adopts no store: the desk that wrote it may be gone


class Outbox:
    """Messages of all boots of one rig, and what the desk said of them.

    Parameters
    ----------
    file : OutboxFile
        Where they are kept.
    bell : Bell
        Rung after each message kept and each watermark heard.
    """

    def __init__(self, file: OutboxFile, bell: Bell, *, keep_bytes: int = KEEP_BYTES) -> None:
        self._file = file
        self._bell = bell
        self._keep_bytes = keep_bytes
        self._lock = threading.Lock()
        with file.transaction() as db:
            self.lost_to_damage = declare_corrupt(db, file)
            self._boots = _boot_states(db, file.boot)
            self._has_gaps = db.execute("SELECT COUNT(*) FROM gap").fetchone() != (0,)
            row = db.execute("SELECT store, epoch, n, keep_boot, keep_seq FROM desk").fetchone()
        self._obeys = None if row is None else Obeys(store=row[0], epoch=row[1], n=row[2])
        self._keep: tuple[str, int] | None = None if row is None or row[3] is None else (row[3], row[4])
        self._kept_since_look = _PASSES_BETWEEN_LOOKS
        self._heard: Stored | None = None
        self._unwritten: dict[str, int] = {}
        self._written_at_s = float("-inf")
        self.surplus_heard = False
        self.full = False
        self.thinned = False

    @property
    def obeys(self) -> Obeys | None:
        """The store followed, and how far it was heard; None before the first live word of a desk."""
        return self._obeys

    def boots(self) -> Mapping[str, BootState]:
        """All boots, oldest first."""
        return self._boots

    def behind(self) -> int:
        """How many messages of this boot the desk has not stored yet."""
        state = self._boots[self._file.boot]
        return state.last - state.watermark

    def waiting(self) -> int:
        """How many messages of all boots the desk has not stored yet."""
        return sum(state.last - state.watermark for state in self._boots.values())

    def holds(self) -> dict[str, tuple[int, int]]:
        """First and last number held, by boot.

        A boot of which nothing is held is named too while the desk has not spoken of it since it was restored
        or joined: what that desk lacks of it is a gap to be declared. Never more boots than fit a message:
        what waits comes first, then the newest.
        """
        present = self.obeys.epoch if self.obeys is not None else 0
        named = [
            (boot, state)
            for boot, state in self._boots.items()
            if state.first_held <= state.last or (state.last > 0 and state.epoch < present)
        ]
        if len(named) > _MOST_BOOTS_SAID:
            waiting = [entry for entry in named if entry[1].watermark < entry[1].last]
            others = [entry for entry in reversed(named) if entry[1].watermark >= entry[1].last]
            named = sorted([*waiting, *others][:_MOST_BOOTS_SAID])
        return {boot: (state.first_held, state.last) for boot, state in named}

    def append(self, encode: Encode, *, kept_at_utc_s: float) -> int:
        """Number a message and keep it; see `append_all`."""
        return self.append_all([encode], kept_at_utc_s=kept_at_utc_s)[0]

    def append_all(self, encoders: Sequence[Encode], *, kept_at_utc_s: float) -> list[int]:
        """Number messages and keep them in one transaction; they are on disk when this returns.

        Where the outbox is full, their numbers are kept as a declared gap instead (`full`).

        Parameters
        ----------
        encoders : Sequence[Callable[[int], bytes]]
            Each gives the bytes of its message for its number; they never change afterwards.
        kept_at_utc_s : float
            What the machine's clock says, synchronised or not: for `prune` alone. [s]

        Raises
        ------
        ValueError
            If bytes are over the limit of the wire; no number is used up.
        """
        boot = self._file.boot
        self._look_for_room(len(encoders))
        with self._transaction() as db:
            ((last,),) = db.execute(
                "UPDATE boot SET last_seq = last_seq + ? WHERE boot = ? RETURNING last_seq",
                (len(encoders), boot),
            ).fetchall()
            numbers = list(range(last - len(encoders) + 1, last + 1))
            if self.full:
                self._declare_full(db, numbers[0], last)
            else:
                rows = [
                    (boot, seq, kept_at_utc_s, _checked(encode(seq)))
                    for seq, encode in zip(numbers, encoders, strict=True)
                ]
                db.executemany("INSERT INTO message VALUES (?, ?, ?, ?)", rows)
        with self._lock:
            self._change(boot, last=last)
        self._bell.ring()
        return numbers

    def messages(self, boot: str, first: int, last: int) -> list[tuple[int, bytes]]:
        """Messages ``first`` … ``last`` of a boot, in order, as kept; gaps under their first number."""
        with self._file.reading() as db:
            found = db.execute(
                "SELECT seq, payload FROM message WHERE boot = ? AND seq BETWEEN ? AND ? ORDER BY seq",
                (boot, first, last),
            ).fetchall()
            if self._has_gaps:
                found = sorted([*found, *gaps_between(db, boot, first, last)])
        return found

    def hear(self, stored: Stored, *, live: bool) -> Heard:
        """Take a desk's word of what is stored.

        The first store heard live is adopted; another one's word is not taken. In one epoch a watermark only
        rises; a newer epoch, a desk restored from a backup, may lower it.
        """
        with self._file.reading():  # so that nobody reads the boots again between file and memory
            heard = self._judge(stored, live=live)
            if heard is Heard.OBEYED:
                self._obey(stored)
        if heard is Heard.OBEYED:
            self._bell.ring()
        return heard

    def _judge(self, stored: Stored, *, live: bool) -> Heard:
        obeys = self._obeys
        if obeys is None:
            return Heard.OBEYED if live else Heard.NOT_LIVE
        if stored.store != obeys.store:
            return Heard.OTHER_STORE
        if (stored.epoch, stored.n) <= (obeys.epoch, obeys.n):
            return Heard.OLD
        return Heard.OBEYED

    def _obey(self, stored: Stored) -> None:
        marks = self._marks(stored)
        if self._is_plain_rise(stored):
            self._take_marks(stored, marks)
            self._unwritten.update(marks)
            return
        restored = self._obeys is not None and stored.epoch > self._obeys.epoch
        with self._file.transaction() as db:
            _write_heard(db, stored, {**self._unwritten, **marks})
            declared = sum(self._declare_deleted(db, boot, mark) for boot, mark in marks.items())
            # after a restore, boots come back into sight that were done with under the epoch before
            states = _boot_states(db, self._file.boot) if restored or declared else None
        if states is not None:
            with self._lock:
                self._boots = dict(sorted({**self._boots, **states}.items()))
        self._take_marks(stored, marks)
        self._unwritten = {}
        self._written_at_s = time.monotonic()

    def _is_plain_rise(self, stored: Stored) -> bool:
        """Tell whether this word may be written with the next message, which spares a commit of its own.

        Lost in a power cut, it is heard again, and messages are sent again as they were.
        """
        obeys = self._obeys
        same = obeys is not None and stored.epoch == obeys.epoch and stored.keep == self._keep
        known = all(state.epoch == stored.epoch for state in self._boots.values())
        return same and known and time.monotonic() - self._written_at_s < _WRITE_HEARD_WITHIN_S

    def _take_marks(self, stored: Stored, marks: Mapping[str, int]) -> None:
        self._heard = stored
        with self._lock:
            self._obeys = Obeys(store=stored.store, epoch=stored.epoch, n=stored.n)
            self._keep = stored.keep
            for boot, mark in marks.items():
                self._change(boot, watermark=mark, epoch=stored.epoch)

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """A transaction that also writes what was heard since the last one."""
        with self._file.reading():  # until it is noted that it was written
            with self._file.transaction() as db:
                if self._unwritten and self._heard is not None:
                    _write_heard(db, self._heard, self._unwritten)
                yield db
            if self._unwritten:
                self._unwritten = {}
                self._written_at_s = time.monotonic()

    def settle(self) -> None:
        """Write what was heard and is not on disk yet; before an orderly end."""
        if self._unwritten:
            with self._transaction():
                pass

    def prune(self, *, now_utc_s: float, keep_stored_s: float = KEEP_STORED_S) -> int:
        """Delete stored messages that are old; never others.

        Returns
        -------
        int
            How many were deleted; the oldest few thousand are looked at in one go.
        """
        with self._transaction() as db:
            deleted = delete_stored_before(db, now_utc_s - keep_stored_s)
            if deleted:
                db.execute(
                    "DELETE FROM gap WHERE last <= (SELECT watermark FROM boot WHERE boot.boot = gap.boot) "
                    "AND NOT EXISTS (SELECT 1 FROM message WHERE message.boot = gap.boot AND seq < gap.first)"
                )
        if deleted:
            self._look_again_at_boots()
        return deleted

    def _look_for_room(self, passes: int) -> None:
        """See now and then whether the file has grown too large, and make room."""
        self._kept_since_look += passes
        if self._kept_since_look < _PASSES_BETWEEN_LOOKS:
            return
        self._kept_since_look = 0
        with self._file.reading() as db:
            used = used_bytes(db)
        limit_bytes = allowed_bytes(self._file.folder, used, keep_bytes=self._keep_bytes)
        if used <= limit_bytes:
            self.full = False
            self.thinned = self.thinned and self.waiting() > 0
            return
        with self._transaction() as db:
            made = make_room(db, self._file, limit_bytes=limit_bytes, keep=self._keep)
        self.full = not made.enough
        self.thinned = self.thinned or made.thinned > 0
        self._has_gaps = self._has_gaps or self.thinned or self.full
        if made.deleted or made.thinned:
            self._look_again_at_boots()

    def _look_again_at_boots(self) -> None:
        with self._file.reading() as db:
            states = _boot_states(db, self._file.boot)
        with self._lock:
            self._boots = states

    def _declare_full(self, db: sqlite3.Connection, first: int, last: int) -> None:
        """Declare new numbers as not taken; a gap before them that no desk has is made longer."""
        boot = self._file.boot
        before = db.execute(
            "SELECT first FROM gap WHERE boot = ? AND last = ? AND reason = ? AND last > ?",
            (boot, first - 1, GapReason.FULL.value, self._boots[boot].watermark),
        ).fetchone()
        declare_gap(db, self._file, boot, first if before is None else before[0], last, GapReason.FULL)

    def _declare_deleted(self, db: sqlite3.Connection, boot: str, mark: int) -> int:
        """Where a desk lacks what was let go once it was stored, that is said; how many numbers."""
        before = self._boots[boot].watermark if boot in self._boots else 0
        lost = declare_holes(
            db, self._file, boot, above=mark, to=before, reason=GapReason.DELETED_AFTER_STORED
        )
        self._has_gaps = self._has_gaps or lost > 0
        return lost

    def _marks(self, stored: Stored) -> dict[str, int]:
        """Watermarks that change, or are said anew under a newer epoch."""
        marks: dict[str, int] = {}
        for boot, said in stored.boots.items():
            state = self._boots.get(boot)
            if state is None:
                continue
            if said > state.last:
                self.surplus_heard = True
            mark = min(said, state.last)
            if stored.epoch > state.epoch or mark > state.watermark:
                marks[boot] = mark
        return marks

    def _change(self, boot: str, **changes: int) -> None:
        # a new mapping each time: readers need no lock
        self._boots = {**self._boots, boot: replace(self._boots[boot], **changes)}


def _checked(payload: bytes) -> bytes:
    if len(payload) > MAX_MESSAGE_BYTES:
        raise ValueError(f"a message of {len(payload)} bytes is over {MAX_MESSAGE_BYTES}")
    return payload


def _write_heard(db: sqlite3.Connection, stored: Stored, marks: Mapping[str, int]) -> None:
    boot, seq = stored.keep or (None, None)
    row = (stored.store, stored.epoch, stored.n, boot, seq)
    db.execute("INSERT OR REPLACE INTO desk VALUES (1, ?, ?, ?, ?, ?)", row)
    db.executemany(
        "UPDATE boot SET watermark = ?, epoch = ? WHERE boot = ?",
        [(mark, stored.epoch, boot) for boot, mark in marks.items()],
    )


def _boot_states(db: sqlite3.Connection, this_boot: str) -> dict[str, BootState]:
    """Boots that still matter: this one, and those of which something is held, waits, or is not said anew."""
    rows = db.execute(
        "SELECT boot, last_seq, watermark, epoch, first_held FROM (SELECT *, "
        "(SELECT MIN(low) FROM (SELECT MIN(seq) AS low FROM message WHERE message.boot = boot.boot "
        "UNION ALL SELECT MIN(first) FROM gap WHERE gap.boot = boot.boot)) AS first_held FROM boot) "
        "WHERE boot = ? OR watermark < last_seq OR first_held IS NOT NULL "
        "OR (last_seq > 0 AND epoch < (SELECT IFNULL(MAX(epoch), 0) FROM desk)) ORDER BY boot",
        (this_boot,),
    )
    return {
        boot: BootState(
            first_held=last + 1 if first is None else first, last=last, watermark=mark, epoch=epoch
        )
        for boot, last, mark, epoch, first in rows
    }
