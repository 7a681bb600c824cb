"""Room on the card: what the outbox lets go when it grows too large, and in which order (rule 12)."""

import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from rig.outbox_file import OutboxFile
from rig.outbox_gaps import GapReason, declare_gap

KEEP_BYTES = 1 << 30
LEAVE_FREE_BYTES = 1 << 28  # of the whole card, for everything else on it
KEPT_OF = 40  # thinned: one pass in ten seconds stays, at four a second
_AT_ONCE = 2000
# what is let go in one go, so that not every pass has to
_SLACK = 0.02

Mark = tuple[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomMade:
    """What came of making room.

    Attributes
    ----------
    deleted, thinned : int
        Stored messages deleted, and idle ones declared as gaps.
    enough : bool
        False where the outbox is full: it may take no new reading.
    """

    deleted: int
    thinned: int
    enough: bool


def used_bytes(db: sqlite3.Connection) -> int:
    """Bytes in use inside the file; pages that are free in it are taken again before it grows."""
    (used,) = db.execute(
        "SELECT (page_count - freelist_count) * page_size "
        "FROM pragma_page_count, pragma_freelist_count, pragma_page_size"
    ).fetchone()
    return int(used)


def allowed_bytes(folder: Path, used: int, *, keep_bytes: int = KEEP_BYTES) -> int:
    """How large the outbox may be: its own limit, or less where the card has little room left."""
    free = shutil.disk_usage(folder).free
    return min(keep_bytes, used + free - LEAVE_FREE_BYTES)


def make_room(db: sqlite3.Connection, file: OutboxFile, *, limit_bytes: int, keep: Mark | None) -> RoomMade:
    """Let go of stored messages, oldest first; then thin idle ones before ``keep``, oldest first.

    Parameters
    ----------
    limit_bytes : int
        How many bytes may be in use afterwards.
    keep : tuple or None
        (boot, number) where an open run began; nothing from there on is thinned.
    """
    deleted = thinned = 0
    if used_bytes(db) <= limit_bytes:
        return RoomMade(deleted=0, thinned=0, enough=True)
    aim_bytes = int(limit_bytes * (1 - _SLACK))
    while used_bytes(db) > aim_bytes and (some := _delete_stored(db)):
        deleted += some
    while used_bytes(db) > aim_bytes and (some := _thin(db, file, keep)):
        thinned += some
    return RoomMade(deleted=deleted, thinned=thinned, enough=used_bytes(db) <= limit_bytes)


def _delete_stored(db: sqlite3.Connection) -> int:
    gaps = db.execute("DELETE FROM gap WHERE last <= (SELECT watermark FROM boot WHERE boot.boot = gap.boot)")
    messages = db.execute(
        "DELETE FROM message WHERE rowid IN (SELECT message.rowid FROM message JOIN boot USING (boot) "
        "WHERE seq <= watermark ORDER BY boot, seq LIMIT ?)",
        (_AT_ONCE,),
    )
    return gaps.rowcount + messages.rowcount


def delete_stored_before(db: sqlite3.Connection, before_utc_s: float) -> int:
    """Delete stored messages kept before a time, the oldest few thousand in one go; how many. [s]"""
    return db.execute(
        # only the oldest ones are looked at: a week on a card is two million rows
        "DELETE FROM message WHERE rowid IN (SELECT id FROM "
        "(SELECT rowid AS id, boot, seq, kept_at_utc_s FROM message ORDER BY rowid LIMIT ?) "
        "JOIN boot USING (boot) WHERE seq <= watermark AND kept_at_utc_s < ?)",
        (_AT_ONCE, before_utc_s),
    ).rowcount


def _thin(db: sqlite3.Connection, file: OutboxFile, keep: Mark | None) -> int:
    """Declare the oldest idle readings as gaps, all but one in `KEPT_OF`; how many."""
    boot_limit, seq_limit = keep or ("~", 0)  # a tilde sorts after every boot
    idle = db.execute(
        "SELECT boot, seq FROM message JOIN boot USING (boot) "
        "WHERE seq > watermark AND (seq - 1) % ? <> 0 AND (boot < ? OR (boot = ? AND seq < ?)) "
        "ORDER BY boot, seq LIMIT ?",
        (KEPT_OF, boot_limit, boot_limit, seq_limit, _AT_ONCE),
    ).fetchall()
    for boot, first, last in _stretches(idle):
        declare_gap(db, file, boot, first, last, GapReason.THINNED)
    return len(idle)


def _stretches(marks: list[Mark]) -> Iterator[tuple[str, int, int]]:
    """Stretches of consecutive numbers, as (boot, first, last)."""
    for (boot, _), group in groupby(enumerate(marks), lambda entry: (entry[1][0], entry[1][1] - entry[0])):
        numbers = [seq for _, (_, seq) in group]
        yield boot, numbers[0], numbers[-1]
