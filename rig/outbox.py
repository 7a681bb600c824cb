"""The rig's on-disk queue: every message is kept until the desk says that it is stored, and longer.

Numbers are given in the transaction that keeps the message, so none is used twice and none is left out.
"""

import logging
import sqlite3
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from calibration.contract.presence import Obeys, Stored
from calibration.contract.topics import MAX_MESSAGE_BYTES
from rig.bell import Bell
from rig.outbox_file import OutboxFile

log = logging.getLogger(__name__)

KEEP_STORED_S = 7 * 24 * 3600.0  # so that a desk restored from a backup can be filled again
KEEP_BYTES = 1 << 30
_LOOKED_AT_ONCE = 2000


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

    def __init__(self, file: OutboxFile, bell: Bell) -> None:
        self._file = file
        self._bell = bell
        self._lock = threading.Lock()
        with file.reading() as db:
            self._boots = _boot_states(db)
            row = db.execute("SELECT store, epoch, n FROM desk").fetchone()
        self._obeys = None if row is None else Obeys(store=row[0], epoch=row[1], n=row[2])
        self.surplus_heard = False

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
        """First and last number held, by boot."""
        boots = self._boots.items()
        return {boot: (s.first_held, s.last) for boot, s in boots if s.first_held <= s.last}

    def append(self, encode: Callable[[int], bytes], *, kept_at_utc_s: float) -> int:
        """Number a message and keep it; it is on disk when this returns.

        Parameters
        ----------
        encode : Callable[[int], bytes]
            Gives the bytes of the message for its number; they never change afterwards.
        kept_at_utc_s : float
            What the machine's clock says, synchronised or not: for `prune` alone. [s]

        Raises
        ------
        ValueError
            If the bytes are over the limit of the wire; no number is used up.
        """
        boot = self._file.boot
        with self._file.transaction() as db:
            ((seq,),) = db.execute(
                "UPDATE boot SET last_seq = last_seq + 1 WHERE boot = ? RETURNING last_seq", (boot,)
            ).fetchall()
            payload = encode(seq)
            if len(payload) > MAX_MESSAGE_BYTES:
                raise ValueError(f"a message of {len(payload)} bytes is over {MAX_MESSAGE_BYTES}")
            db.execute("INSERT INTO message VALUES (?, ?, ?, ?)", (boot, seq, kept_at_utc_s, payload))
        with self._lock:
            self._change(boot, last=seq)
        self._bell.ring()
        return int(seq)

    def messages(self, boot: str, first: int, last: int) -> list[tuple[int, bytes]]:
        """Messages ``first`` … ``last`` of a boot, in order, as they were kept."""
        with self._file.reading() as db:
            return db.execute(
                "SELECT seq, payload FROM message WHERE boot = ? AND seq BETWEEN ? AND ? ORDER BY seq",
                (boot, first, last),
            ).fetchall()

    def hear(self, stored: Stored, *, live: bool) -> Heard:
        """Take a desk's word of what is stored.

        The first store heard live is adopted; another one's word is not taken. In one epoch a watermark only
        rises; a newer epoch, a desk restored from a backup, may lower it.
        """
        obeys = self._obeys
        if obeys is None and not live:
            return Heard.NOT_LIVE
        if obeys is not None:
            if stored.store != obeys.store:
                return Heard.OTHER_STORE
            if (stored.epoch, stored.n) <= (obeys.epoch, obeys.n):
                return Heard.OLD
        marks = self._marks(stored)
        with self._file.transaction() as db:
            row = (stored.store, stored.epoch, stored.n)
            db.execute("INSERT OR REPLACE INTO desk VALUES (1, ?, ?, ?)", row)
            db.executemany(
                "UPDATE boot SET watermark = ?, epoch = ? WHERE boot = ?",
                [(mark, stored.epoch, boot) for boot, mark in marks.items()],
            )
        with self._lock:
            self._obeys = Obeys(store=stored.store, epoch=stored.epoch, n=stored.n)
            for boot, mark in marks.items():
                self._change(boot, watermark=mark, epoch=stored.epoch)
        self._bell.ring()
        return Heard.OBEYED

    def prune(
        self, *, now_utc_s: float, keep_stored_s: float = KEEP_STORED_S, keep_bytes: int = KEEP_BYTES
    ) -> int:
        """Delete stored messages that are old, or the oldest ones where room asks for it; never others.

        Returns
        -------
        int
            How many were deleted; the oldest few thousand are looked at in one go.
        """
        with self._file.transaction() as db:
            (used_bytes,) = db.execute(
                "SELECT (page_count - freelist_count) * page_size "
                "FROM pragma_page_count, pragma_freelist_count, pragma_page_size"
            ).fetchone()
            before_utc_s = now_utc_s if used_bytes > keep_bytes else now_utc_s - keep_stored_s
            deleted = db.execute(
                # only the oldest ones are looked at: a week on a card is two million rows
                "DELETE FROM message WHERE rowid IN (SELECT id FROM "
                "(SELECT rowid AS id, boot, seq, kept_at_utc_s FROM message ORDER BY rowid LIMIT ?) "
                "JOIN boot USING (boot) WHERE seq <= watermark AND kept_at_utc_s < ?)",
                (_LOOKED_AT_ONCE, before_utc_s),
            ).rowcount
            states = _boot_states(db) if deleted else {}
        with self._lock:
            for boot, state in states.items():
                self._change(boot, first_held=state.first_held)
        return deleted

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


def _boot_states(db: sqlite3.Connection) -> dict[str, BootState]:
    rows = db.execute(
        "SELECT boot, last_seq, watermark, epoch, "
        "(SELECT MIN(seq) FROM message WHERE message.boot = boot.boot) FROM boot ORDER BY boot"
    )
    return {
        boot: BootState(
            first_held=last + 1 if first is None else first, last=last, watermark=mark, epoch=epoch
        )
        for boot, last, mark, epoch, first in rows
    }
