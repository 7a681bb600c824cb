"""Connections to the database: many readers, one writer, short transactions."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event

_WRITES = "ohmbath_writes"


class Database:
    """One database, by its SQLAlchemy URL.

    Parameters
    ----------
    url : str
        ``sqlite:///…`` today. The statements elsewhere in this package keep to SQL that
        PostgreSQL knows too.
    """

    def __init__(self, url: str) -> None:
        self.engine: Engine = create_engine(url)
        self._writer = threading.RLock()
        if self.is_sqlite:
            event.listen(self.engine, "connect", _set_up_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)
        self._writing_engine = self.engine.execution_options(**{_WRITES: True})

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Transaction that only looks; it never waits for the writer."""
        with self.engine.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Transaction that writes, one at a time in this process; commits at the end."""
        with self._writer, self._writing_engine.begin() as connection:
            yield connection

    @contextmanager
    def upgrading(self) -> Iterator[Connection]:
        """Connection for the migrations, which begin and commit each step by themselves.

        SQLite changes a table by making it anew: its rows are pointed at meanwhile, so the check of what
        points where rests until the end; `upgrade` then makes it.
        """
        with self._writer, self._writing_engine.connect() as connection:
            if self.is_sqlite:
                _check_foreign_keys(connection, "OFF")
            try:
                yield connection
            finally:
                if self.is_sqlite:
                    _check_foreign_keys(connection, "ON")

    @property
    def is_sqlite(self) -> bool:
        """Tell whether it is a file of this machine."""
        return self.engine.dialect.name == "sqlite"

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _set_up_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own idea of transactions leaves half a failed migration behind: switch
    # it off here and begin by hand below.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",  # a committed reading survives a power cut: the rig may delete it then
        "foreign_keys=ON",
        "busy_timeout=10000",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _check_foreign_keys(connection: Connection, word: str) -> None:
    # Past SQLAlchemy, which would begin a transaction: inside one SQLite leaves this as it is.
    raw = connection.connection.driver_connection
    assert raw is not None
    raw.execute(f"PRAGMA foreign_keys={word}")


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its lock at the start: a transaction that reads first and writes later
    # could otherwise fail half way because another one got in between.
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
