"""The audit list: who did what, only ever added to."""

import time
from collections.abc import Callable

from sqlalchemy import Connection, func, select

from host.people.deed import AuditEntry, Deed
from host.store.engine import Database
from host.store.schema import audit

#: In place of a role where the program did it: a certificate is issued when the last reading is judged.
THE_DESK = "the desk"


class Audit:
    """The list."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, deed: Deed, *, person: str = "", role: str = "", subject: str = "") -> None:
        """Add one line."""
        with self._database.writing() as connection:
            write_line(connection, deed, at_utc_s=self._now(), person=person, role=role, subject=subject)

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


def write_line(
    connection: Connection,
    deed: Deed,
    *,
    at_utc_s: float,
    person: str = "",
    role: str = "",
    subject: str = "",
) -> None:
    """Add one line inside the caller's transaction."""
    connection.execute(
        audit.insert().values(utc_s=at_utc_s, person=person, role=role, deed=deed.value, subject=subject)
    )
