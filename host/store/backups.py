"""Backups that were made of this store."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import select

from host.store import schema
from host.store.engine import Database


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupMade:
    """One backup: when, under which name, and the digest of the store in it."""

    made_utc_s: float
    file: str
    sha256: str


class Backups:
    """Backups table."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def note(self, file: str, sha256: str) -> None:
        """Remember that a backup was made."""
        with self._database.writing() as connection:
            connection.execute(
                schema.backups.insert().values(made_utc_s=self._now(), file=file, sha256=sha256)
            )

    def last(self) -> BackupMade | None:
        """Newest one, None where there is none."""
        query = select(schema.backups).order_by(schema.backups.c.id.desc()).limit(1)
        with self._database.reading() as connection:
            row = connection.execute(query).one_or_none()
        return (
            None if row is None else BackupMade(made_utc_s=row.made_utc_s, file=row.file, sha256=row.sha256)
        )
