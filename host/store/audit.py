"""The audit list: who did what, only ever added to."""

import time
from collections.abc import Callable

from sqlalchemy import func, select

from host.people.deed import AuditEntry, Deed
from host.store.engine import Database
from host.store.schema import audit


class Audit:
    """The list."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, deed: Deed, *, person: str = "", role: str = "", subject: str = "") -> None:
        """Add one line."""
        with self._database.writing() as connection:
            connection.execute(
                audit.insert().values(
                    utc_s=self._now(), person=person, role=role, deed=deed.value, subject=subject
                )
            )

    def count(self) -> int:
        """How many lines there are."""
        with self._database.reading() as connection:
            return int(connection.execute(select(func.count()).select_from(audit)).scalar_one())

    def newest(self, most: int, *, after: int = 0) -> list[AuditEntry]:
        """Lines, the newest first, leaving out the ``after`` newest."""
        query = select(audit).order_by(audit.c.number.desc()).limit(most).offset(after)
        with self._database.reading() as connection:
            return [
                AuditEntry(
                    number=row.number,
                    utc_s=row.utc_s,
                    person=row.person,
                    role=row.role,
                    deed=row.deed,
                    subject=row.subject,
                )
                for row in connection.execute(query)
            ]
