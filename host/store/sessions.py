"""Who is signed in at which screen."""

import time
from collections.abc import Callable

from sqlalchemy import delete, select, update

from host.people.role import Role
from host.people.session import IDLE_S, LONGEST_S, Session, new_token, token_digest
from host.store.engine import Database
from host.store.schema import accounts, sessions

# A page a second must not be a commit a second.
_SEEN_STEP_S = 60.0


class Sessions:
    """Sessions, each found by the digest of its token."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def begin(self, account: int) -> str:
        """Begin a session; its token, which is kept nowhere here."""
        token, now_s = new_token(), self._now()
        over = (sessions.c.seen_utc_s <= now_s - IDLE_S) | (sessions.c.begun_utc_s <= now_s - LONGEST_S)
        with self._database.writing() as connection:
            connection.execute(delete(sessions).where(over))
            connection.execute(
                sessions.insert().values(
                    token_sha256=token_digest(token),
                    account=account,
                    begun_utc_s=now_s,
                    seen_utc_s=now_s,
                )
            )
        return token

    def of(self, token: str) -> Session | None:
        """Session of a token: None where it ended, ran out, or its account was disabled."""
        query = (
            select(sessions)
            .join(accounts, accounts.c.account == sessions.c.account)
            .where((sessions.c.token_sha256 == token_digest(token)) & accounts.c.disabled.is_(False))
        )
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        session = Session(
            account=row.account,
            begun_utc_s=row.begun_utc_s,
            seen_utc_s=row.seen_utc_s,
            pinned=None if row.pinned is None else Role(row.pinned),
        )
        return None if session.is_over(self._now()) else session

    def see(self, token: str, session: Session) -> None:
        """Note that somebody opened a page."""
        now_s = self._now()
        if now_s - session.seen_utc_s < _SEEN_STEP_S:
            return
        with self._database.writing() as connection:
            connection.execute(
                update(sessions)
                .where(sessions.c.token_sha256 == token_digest(token))
                .values(seen_utc_s=now_s)
            )

    def pin(self, token: str, role: Role) -> None:
        """Keep a screen to one role; only a new session, which takes a password, gives it more again."""
        with self._database.writing() as connection:
            connection.execute(
                update(sessions)
                .where(sessions.c.token_sha256 == token_digest(token))
                .values(pinned=role.value)
            )

    def end(self, token: str) -> None:
        """Sign out."""
        with self._database.writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.token_sha256 == token_digest(token)))
