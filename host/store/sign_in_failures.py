"""Wrong passwords, counted by name and by address; a restart of the desk forgets none."""

import hashlib
import time
from collections.abc import Callable

from sqlalchemy import delete, select

from host.people.account import name_key
from host.people.lockout import FOR_A_NAME, FOR_AN_ADDRESS
from host.store.engine import Database
from host.store.schema import sign_in_failures

_FORGOTTEN_AFTER_S = max(FOR_A_NAME.forgets_s, FOR_AN_ADDRESS.forgets_s)


class SignInFailures:
    """Failures that still count."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def of_name(self, name: str) -> tuple[float, ...]:
        """When wrong passwords were given for a name. [s]"""
        return self._of(_name(name))

    def of_address(self, address: str) -> tuple[float, ...]:
        """When wrong passwords came from an address. [s]"""
        return self._of(_address(address))

    def add(self, name: str, address: str) -> None:
        """Count one failure, for its name and for its address."""
        now_s = self._now()
        rows = [{"counted_sha256": counted, "utc_s": now_s} for counted in (_name(name), _address(address))]
        with self._database.writing() as connection:
            old = sign_in_failures.c.utc_s <= now_s - _FORGOTTEN_AFTER_S
            connection.execute(delete(sign_in_failures).where(old))
            connection.execute(sign_in_failures.insert(), rows)

    def forget_name(self, name: str) -> None:
        """Forget those of a name that has given the right password, or a new one."""
        theirs = sign_in_failures.c.counted_sha256 == _name(name)
        with self._database.writing() as connection:
            connection.execute(delete(sign_in_failures).where(theirs))

    def _of(self, counted: str) -> tuple[float, ...]:
        query = select(sign_in_failures.c.utc_s).where(
            sign_in_failures.c.counted_sha256 == counted,
            sign_in_failures.c.utc_s > self._now() - _FORGOTTEN_AFTER_S,
        )
        with self._database.reading() as connection:
            return tuple(connection.execute(query).scalars())


def _name(name: str) -> str:
    return hashlib.sha256(f"name {name_key(name)}".encode()).hexdigest()


def _address(address: str) -> str:
    return hashlib.sha256(f"address {address}".encode()).hexdigest()
