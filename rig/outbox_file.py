"""The file that a rig's outbox and order log share: one SQLite database, one process, one writer."""

import fcntl
import secrets
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from calibration.contract.joining import JoinFile, decode_join_file, encode_join_file
from calibration.contract.topics import is_station
from rig.errors import RigError

SCHEMA_VERSION = 2

_SCHEMA_1 = (
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
_SCHEMA_2 = (
    """CREATE TABLE gap (
        boot TEXT NOT NULL REFERENCES boot, first INTEGER NOT NULL, last INTEGER NOT NULL,
        reason TEXT NOT NULL, payload BLOB NOT NULL, PRIMARY KEY (boot, first)
    )""",
    """CREATE TABLE joining (
        id INTEGER PRIMARY KEY CHECK (id = 1), content TEXT NOT NULL
    )""",
    "ALTER TABLE desk ADD COLUMN keep_boot TEXT",
    "ALTER TABLE desk ADD COLUMN keep_seq INTEGER",
)
# what brings a file from each version to the next
_STEPS = (_SCHEMA_1, _SCHEMA_2)

BOOTS_OF_ORDERS = 3  # orders of older boots are refused by their boot alone


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
    starts_boot : bool
        False to look at it or to join it between two starts; nothing can be kept then.

    Attributes
    ----------
    rig, station, boot : str
        Who this rig is, and which start of it this is; empty where none began.
    joined : JoinFile or None
        Whom it was joined to.

    Raises
    ------
    OutboxError
        If another rig program holds it, it is no outbox, or it still holds messages of another station.
    """

    def __init__(self, path: Path, *, station: str | None = None, starts_boot: bool = True) -> None:
        if station is not None and not is_station(station):
            raise OutboxError(f"{station!r} is not a station id: use 1 to 32 of a-z, 0-9 and '-'.")
        self._path = path
        self._lock = threading.RLock()
        self._lock_file = _claim(path)
        try:
            self._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
            try:
                self._prepare()
                self.boot = ""
                self.rig, self.station = self._identify(station)
                self.joined = self._joined()
                if starts_boot:
                    self._start_boot()
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

    @property
    def folder(self) -> Path:
        """Folder in which the file lies."""
        return self._path.parent

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

    def write_joining(self, db: sqlite3.Connection, join: JoinFile) -> None:
        """Write a joining down inside the caller's transaction; `rig.joining` does the rest."""
        db.execute("UPDATE rig SET station = ?", (join.station,))
        db.execute("INSERT OR REPLACE INTO joining VALUES (1, ?)", (encode_join_file(join),))

    def take_joining(self, join: JoinFile) -> None:
        """Be the joined rig, once that is written down."""
        self.station, self.joined = join.station, join

    def _prepare(self) -> None:
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")  # a commit is on the card before it counts
        self._path.chmod(0o600)  # it may hold the password of the station
        with self.transaction() as db:
            (version,) = db.execute("PRAGMA user_version").fetchone()
            (tables,) = db.execute("SELECT COUNT(*) FROM sqlite_schema").fetchone()
            if version > SCHEMA_VERSION or (version == 0 and tables > 0):
                raise OutboxError(
                    f"{self._path} is an outbox of version {version}, this program knows {SCHEMA_VERSION}. "
                    "Use the program that made it, or give another --data folder."
                )
            for step in _STEPS[version:]:
                for statement in step:
                    db.execute(statement)
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def _identify(self, wanted_station: str | None) -> tuple[str, str]:
        with self.transaction() as db:
            row = db.execute("SELECT rig, station FROM rig").fetchone()
            if row is None:
                row = secrets.token_hex(8), wanted_station or "station-1"
                db.execute("INSERT INTO rig VALUES (1, ?, ?, 0)", row)
            rig, station = row
            if wanted_station is not None and wanted_station != station:
                if db.execute("SELECT COUNT(*) FROM joining").fetchone() != (0,):
                    raise OutboxError(
                        f"This rig was joined as {station}. Leave --station out, or join it anew "
                        f"as {wanted_station}."
                    )
                check_nothing_waits(db, station, wanted_station)
                db.execute("UPDATE rig SET station = ?", (wanted_station,))
                station = wanted_station
        return rig, station

    def _joined(self) -> JoinFile | None:
        with self.reading() as db:
            row = db.execute("SELECT content FROM joining").fetchone()
        return None if row is None else decode_join_file(row[0])

    def _start_boot(self) -> None:
        with self.transaction() as db:
            ((boots,),) = db.execute("UPDATE rig SET boots = boots + 1 RETURNING boots").fetchall()
            self.boot = f"{boots:08d}-{secrets.token_hex(4)}"
            (epoch,) = db.execute("SELECT IFNULL(MAX(epoch), 0) FROM desk").fetchone()
            db.execute("INSERT INTO boot VALUES (?, 0, 0, ?)", (self.boot, epoch))
            db.execute(
                "DELETE FROM order_log WHERE boot NOT IN (SELECT boot FROM boot ORDER BY boot DESC LIMIT ?)",
                (BOOTS_OF_ORDERS,),
            )


def check_nothing_waits(db: sqlite3.Connection, station: str, wanted_station: str) -> None:
    """Make sure that a rig may change its station: that stands in the bytes of every message, and those stay.

    Raises
    ------
    OutboxError
        If messages wait that no desk has stored.
    """
    (waiting,) = db.execute("SELECT IFNULL(SUM(last_seq - watermark), 0) FROM boot").fetchone()
    if waiting:
        raise OutboxError(
            f"The outbox still holds {waiting} messages of {station} that no desk has stored. "
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
