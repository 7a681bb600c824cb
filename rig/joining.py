"""Joining: a rig is tied to one desk's store, and follows no other from then on (rule 13)."""

import logging
import secrets
import sqlite3
from pathlib import Path

from calibration.contract.joining import JoinFile, decode_join_file
from calibration.contract.messages import MessageError
from rig.errors import RigError
from rig.outbox_file import OutboxFile, check_nothing_waits
from rig.outbox_gaps import GapReason, declare_holes

log = logging.getLogger(__name__)

LARGEST_JOIN_FILE_BYTES = 64 * 1024


class JoinError(RigError):
    """A joining file that cannot be used; the words say what to do."""


def read_join_file(path: Path) -> JoinFile:
    """Read a joining file.

    Raises
    ------
    JoinError
        If it cannot be read, or is none.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise JoinError(f"{path} cannot be read: {error.strerror}.") from error
    if len(content) > LARGEST_JOIN_FILE_BYTES:
        raise JoinError(f"{path} is too long for a joining file.")
    try:
        return decode_join_file(content.decode("utf-8"))
    except (MessageError, UnicodeDecodeError) as error:
        raise JoinError(
            f"{path}: {error}. Have the desk write a new one: ohmbath station add NAME --join-file FILE"
        ) from error


def join_rig(file: OutboxFile, join: JoinFile) -> str:
    """Tie a rig to a store, in one transaction; words for what becomes of what it still holds.

    Joining the same store again changes address, password and certificate alone. Joining a new one sets every
    watermark to 0: what is still held is sent there, what is not is declared a gap.

    Raises
    ------
    OutboxError
        If the station changes while messages wait that no desk has stored.
    """
    with file.transaction() as db:
        row = db.execute("SELECT store FROM desk").fetchone()
        words = "Nothing was held yet."
        has_given = db.execute("SELECT COUNT(*) FROM boot WHERE last_seq > 0").fetchone() != (0,)
        if join.station != file.station and has_given:
            check_nothing_waits(db, file.station, join.station)
            words = f"It was {file.station}: its stored readings stay with that station's desk."
            _forget(db)
            row = None
        elif row is None or row[0] != join.store:
            held = _offer_all(db, file)
            words = f"{held:,} messages that it holds are sent to the new desk." if held else words
        else:
            words = "It followed this store already: nothing that it holds changes."
        file.write_joining(db, join)
        if row is None or row[0] != join.store:
            db.execute("INSERT OR REPLACE INTO desk VALUES (1, ?, 0, 0, NULL, NULL)", (join.store,))
    file.take_joining(join)
    log.info("joined %s of store %s at %s:%d", join.station, join.store, join.host, join.port)
    return words


def new_rig_id(file: OutboxFile) -> None:
    """Make another rig of a copied card: a new id, and nothing of what the first one gave."""
    rig = secrets.token_hex(8)
    with file.transaction() as db:
        db.execute("UPDATE rig SET rig = ?", (rig,))
        _forget(db)
    file.rig = rig


def _forget(db: sqlite3.Connection) -> None:
    for table in ("message", "gap", "boot", "desk"):
        db.execute(f"DELETE FROM {table}")


def _offer_all(db: sqlite3.Connection, file: OutboxFile) -> int:
    """Set every watermark to 0 and declare what is no longer held; how many messages are."""
    for boot, last, watermark in db.execute("SELECT boot, last_seq, watermark FROM boot").fetchall():
        declare_holes(db, file, boot, above=0, to=watermark, reason=GapReason.DELETED_AFTER_STORED)
        declare_holes(db, file, boot, above=watermark, to=last, reason=GapReason.CORRUPT)
    db.execute("UPDATE boot SET watermark = 0, epoch = 0")
    (held,) = db.execute("SELECT COUNT(*) FROM message").fetchone()
    return int(held)
