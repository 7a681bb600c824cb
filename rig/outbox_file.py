"""The file that a rig's outbox and order log share: one SQLite database, one process, one writer."""

import fcntl
import secrets
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from calibration.contract.topics import is_station
from rig.errors import RigError

SCHEMA_VERSION = 1

_SCHEMA = (
    """CREATE TABLE rig (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        rig TEXT NOT NULL, station TEXT NOT NULL, boots INTEGER NOT NULL
    )""",
    """CREATE TABLE desk (
        id INTEGER PRIMARY KEY CHECK (id = 1), store TEXT NOT NULL, epoch INTEGER NOT NULL, n INTEGER NOT NULL
    )""",
    """CREATE TABLE boot (
        boot TEXT PRIMARY KEY, last_seq INTEGER NOT NULL, watermark INTEGER NOT NULL, epoch INTEGER NOT NULL
    )""",
    """CREATE TABLE message (
        boot TEXT NOT NULL REFERENCES boot, seq INTEGER NOT NULL, kept_at_utc_s REAL NOT NULL,
        payload BLOB NOT NULL, PRIMARY KEY (boot, seq)
    )""",
    """CREATE TABLE order_log (
        order_id TEXT PRIMARY KEY, boot TEXT NOT NULL, answer BLOB
    )""",
)


class OutboxError(RigError):
    """The outbox cannot be used as it is; the words say what to do."""


class OutboxFile:
    """An open outbox file, made where there is none; each opening is a boot.

    Parameters
    ----------
    path : Path
        The SQLite file; its folder must exist.
    station : str or None
        Station id; None takes the file's own, or ``station-1`` for a new file.

    Attributes
    ----------
    rig, station, boot : str
        Who this rig is, and which start of it this is.

    Raises
    ------
    OutboxError
        If another rig program holds it, it is no outbox, or it still holds messages of another station.
    """

    def __init__(self, path: Path, *, station: str | None = None) -> None:
        if station is not None and not is_station(station):
            raise OutboxError(f"{station!r} is not a station id: use 1 to 32 of a-z, 0-9 and '-'.")
        self._path = path
        self._lock = threading.RLock()
        self._lock_file = _claim(path)
        try:
            self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
            try:
                self._prepare()
                self.rig, self.station, self.boot = self._start_boot(station)
            except BaseException:
                self._db.close()
                raise
        except sqlite3.DatabaseError as error:
            self._lock_file.close()
            raise OutboxError(
                f"{path} cannot be used ({error}). Move it aside; the rig then makes a new one."
            ) from error
        except BaseException:
            self._lock_file.close()
            raise

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """One transaction, on disk when it is over, or undone by an error."""
        with self._lock:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The connection, for queries that change nothing."""
        with self._lock:
            yield self._db

    def close(self) -> None:
        """Let the file go; closing twice is harmless."""
        with self._lock:
            self._db.close()
            self._lock_file.close()

    def _prepare(self) -> None:
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")  # a commit is on the card before it counts
        with self.transaction() as db:
            (version,) = db.execute("PRAGMA user_version").fetchone()
            (tables,) = db.execute("SELECT COUNT(*) FROM sqlite_schema").fetchone()
            if version == 0 and tables == 0:
                for statement in _SCHEMA:
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            elif version != SCHEMA_VERSION:
                raise OutboxError(
                    f"{self._path} is an outbox of version {version}, this program knows {SCHEMA_VERSION}. "
                    "Use the program that made it, or give another --data folder."
                )

    def _start_boot(self, wanted_station: str | None) -> tuple[str, str, str]:
        with self.transaction() as db:
            row = db.execute("SELECT rig, station, boots FROM rig").fetchone()
            rig, station, boots = row or (secrets.token_hex(8), wanted_station or "station-1", 0)
            if wanted_station is not None and wanted_station != station:
                self._check_nothing_waits(db, station, wanted_station)
                station = wanted_station
            boot = f"{boots + 1:08d}-{secrets.token_hex(4)}"
            db.execute("INSERT OR REPLACE INTO rig VALUES (1, ?, ?, ?)", (rig, station, boots + 1))
            (epoch,) = db.execute("SELECT IFNULL(MAX(epoch), 0) FROM desk").fetchone()
            db.execute("INSERT INTO boot VALUES (?, 0, 0, ?)", (boot, epoch))
        return rig, station, boot

    def _check_nothing_waits(self, db: sqlite3.Connection, station: str, wanted_station: str) -> None:
        """The station stands in the bytes of every message, and those never change."""
        (waiting,) = db.execute("SELECT IFNULL(SUM(last_seq - watermark), 0) FROM boot").fetchone()
        if waiting:
            raise OutboxError(
                f"{self._path} still holds {waiting} messages of {station} that no desk has stored. "
                f"Run it as {station} until they are, or give {wanted_station} another --data folder."
            )


def _claim(path: Path) -> IO[str]:
    """Lock held as long as this process lives, however it ends."""
    try:
        lock_file = path.with_suffix(".lock").open("w")
    except OSError as error:
        raise OutboxError(
            f"{path.parent} cannot be written ({error.strerror}). Give another --data folder."
        ) from error
    try:
        fcntl.flock(lock_file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        lock_file.close()
        raise OutboxError(
            f"{path} is in use by another rig program. Stop that one, or give another --data folder."
        ) from error
    return lock_file
