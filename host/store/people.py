"""Accounts of the people at this desk, and the one-time links by which they choose a password."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, delete, exists, select, update

from host.people.account import Account, PersonError, checked_person, name_key, roles_from_text, roles_text
from host.people.role import Role
from host.people.session import new_token, token_digest
from host.store.engine import Database
from host.store.schema import accounts, password_links, sessions

#: A one-time link works for so long. [s]
LINK_LIFE_S = 24 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NewStudent:
    """A student of a roster. ``password_hash`` is that of a slip; None where the password stays."""

    name: str
    group: str
    password_hash: str | None


class People:
    """Accounts; none is ever taken out, since their names stand beside what they did."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def any(self) -> bool:
        """Tell whether there is an account at all, disabled or not: then this desk asks who is there."""
        with self._database.reading() as connection:
            return bool(connection.execute(select(exists(select(accounts.c.account)))).scalar_one())

    def add(self, name: str, roles: frozenset[Role], *, password_hash: str | None = None) -> Account:
        """Add an account.

        Raises
        ------
        PersonError
            If the name cannot stand on a certificate or is taken, or no role is given.
        """
        person, key = checked_person(name), name_key(name)
        _check_roles(roles)
        with self._database.writing() as connection:
            taken = connection.execute(select(accounts).where(accounts.c.name_key == key)).first()
            if taken is not None:
                raise PersonError(
                    f"There is a person {taken.name!r} already: "
                    "give this one another name, or more roles to that one."
                )
            connection.execute(
                accounts.insert().values(
                    name=person,
                    name_key=key,
                    roles=roles_text(roles),
                    password=password_hash,
                    disabled=False,
                    added_utc_s=self._now(),
                )
            )
            return _account(_row(connection, key))

    def all(self) -> list[Account]:
        """Everybody, by name."""
        with self._database.reading() as connection:
            rows = connection.execute(select(accounts).order_by(accounts.c.name_key)).all()
        return [_account(row) for row in rows]

    def named(self, name: str) -> Account:
        """Account of a name, however it is spelled.

        Raises
        ------
        PersonError
            If there is none.
        """
        with self._database.reading() as connection:
            return _account(_row(connection, name_key(name)))

    def numbered(self, number: int) -> Account:
        """Account of a number.

        Raises
        ------
        PersonError
            If there is none.
        """
        with self._database.reading() as connection:
            row = connection.execute(select(accounts).where(accounts.c.account == number)).first()
        if row is None:
            raise PersonError(f"There is no account {number} at this desk.")
        return _account(row)

    def with_password(self, name: str) -> tuple[Account, str | None] | None:
        """Account and hash for signing in; None where nobody has this name."""
        query = select(accounts).where(accounts.c.name_key == name_key(name))
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        return None if row is None else (_account(row), row.password)

    def set_password(self, number: int, password_hash: str, *, keep_token: str | None = None) -> None:
        """Give an account a password; it is signed out everywhere else, and its links are spent."""
        with self._database.writing() as connection:
            _set_password(connection, number, password_hash)
            _sign_out(connection, number, keep_token)

    def renew_hash(self, number: int, old: str, new: str) -> None:
        """Keep the same password with today's parameters, unless it was changed meanwhile."""
        same = (accounts.c.account == number) & (accounts.c.password == old)
        with self._database.writing() as connection:
            connection.execute(update(accounts).where(same).values(password=new))

    def set_roles(self, number: int, roles: frozenset[Role]) -> None:
        """Give an account these roles and no others.

        Raises
        ------
        PersonError
            If there would be none, or nobody left who keeps the people.
        """
        _check_roles(roles)
        self._change(number, roles=roles_text(roles))

    def set_disabled(self, number: int, disabled: bool) -> None:
        """Disable an account, or let it sign in again; disabled, it is signed out everywhere.

        Raises
        ------
        PersonError
            If nobody would be left who keeps the people.
        """
        self._change(number, disabled=disabled)

    def take_students(self, students: Sequence[NewStudent]) -> None:
        """Take a class in, all of it or nothing: new accounts, groups, and first passwords where given.

        Raises
        ------
        PersonError
            If somebody here has one of the names and is no mere student.
        """
        with self._database.writing() as connection:
            for student in students:
                key = name_key(student.name)
                row = connection.execute(select(accounts).where(accounts.c.name_key == key)).first()
                if row is not None and roles_from_text(row.roles) != {Role.STUDENT}:
                    raise PersonError(f"{row.name} is {row.roles} here: give the student another name.")
                if row is None:
                    _add_student(connection, student, self._now())
                    continue
                same = update(accounts).where(accounts.c.account == row.account)
                connection.execute(same.values(group=student.group))
                if student.password_hash is not None:
                    slip = {"password": student.password_hash, "first_password": True}
                    connection.execute(same.values(**slip))
                    _sign_out(connection, row.account, None)

    def make_link(self, number: int) -> str:
        """Token of a link by which this person chooses a password, once; earlier ones are spent."""
        token = new_token()
        with self._database.writing() as connection:
            connection.execute(delete(password_links).where(password_links.c.account == number))
            connection.execute(
                password_links.insert().values(
                    token_sha256=token_digest(token), account=number, until_utc_s=self._now() + LINK_LIFE_S
                )
            )
        return token

    def of_link(self, token: str) -> Account | None:
        """Account that a link is for; None where it was used, has run out, or never was."""
        with self._database.reading() as connection:
            return self._of_link(connection, token)

    def choose_password(self, token: str, password_hash: str) -> Account | None:
        """Use a link: None where somebody was quicker."""
        with self._database.writing() as connection:
            account = self._of_link(connection, token)
            if account is not None:
                _set_password(connection, account.number, password_hash)
                _sign_out(connection, account.number, None)
            return account

    def _of_link(self, connection: Connection, token: str) -> Account | None:
        query = (
            select(accounts)
            .join(password_links, password_links.c.account == accounts.c.account)
            .where(
                (password_links.c.token_sha256 == token_digest(token))
                & (password_links.c.until_utc_s > self._now())
                & accounts.c.disabled.is_(False)
            )
        )
        row = connection.execute(query).first()
        return None if row is None else _account(row)

    def _change(self, number: int, **values: Any) -> None:
        with self._database.writing() as connection:
            kept_before = _is_kept(connection)
            connection.execute(update(accounts).where(accounts.c.account == number).values(**values))
            if kept_before and not _is_kept(connection):
                raise PersonError(
                    "Then nobody would be left who may add people: "
                    "make another authoriser or instructor first."
                )
            if values.get("disabled"):
                _sign_out(connection, number, None)
                connection.execute(delete(password_links).where(password_links.c.account == number))


def _add_student(connection: Connection, student: NewStudent, at_utc_s: float) -> None:
    connection.execute(
        accounts.insert().values(
            name=checked_person(student.name),
            name_key=name_key(student.name),
            roles=roles_text(frozenset({Role.STUDENT})),
            password=student.password_hash,
            first_password=student.password_hash is not None,
            group=student.group,
            disabled=False,
            added_utc_s=at_utc_s,
        )
    )


def _check_roles(roles: frozenset[Role]) -> None:
    if not roles:
        words = ", ".join(role.value for role in Role)
        raise PersonError(f"A person has one role at least: {words}.")


def _set_password(connection: Connection, number: int, password_hash: str) -> None:
    own = {"password": password_hash, "first_password": False}
    connection.execute(update(accounts).where(accounts.c.account == number).values(**own))
    connection.execute(delete(password_links).where(password_links.c.account == number))


def _sign_out(connection: Connection, number: int, keep_token: str | None) -> None:
    theirs = sessions.c.account == number
    if keep_token is not None:
        theirs &= sessions.c.token_sha256 != token_digest(keep_token)
    connection.execute(delete(sessions).where(theirs))


def _is_kept(connection: Connection) -> bool:
    return any(_account(row).keeps_people for row in connection.execute(select(accounts)))


def _row(connection: Connection, key: str) -> Row[Any]:
    row = connection.execute(select(accounts).where(accounts.c.name_key == key)).first()
    if row is None:
        raise PersonError(f"Nobody here is called {key!r}: 'ohmbath person list' shows who is.")
    return row


def _account(row: Row[Any]) -> Account:
    return Account(
        number=row.account,
        name=row.name,
        roles=roles_from_text(row.roles),
        disabled=row.disabled,
        has_password=row.password is not None,
        added_utc_s=row.added_utc_s,
        has_first_password=row.first_password,
        group=row.group,
    )
