"""A desk with people: accounts, and a way to sit down at it as one of them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from argon2 import PasswordHasher
from flask import Flask

from host.data_folder import DataFolder
from host.people.password import Passwords
from host.people.role import Role
from host.web.app import create_app
from host.web.door import door_of


@pytest.fixture(scope="session")
def quick_passwords() -> Passwords:
    """Hashes that cost next to nothing."""
    return Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


@dataclass
class Clock:
    """A clock that is set by hand."""

    utc_s: float = 1_750_000_000.0

    def __call__(self) -> float:
        return self.utc_s


@pytest.fixture
def clock() -> Clock:
    """The clock of a desk with people."""
    return Clock()


@dataclass
class PeopledDesk:
    """A desk with accounts, and a way to sit down at it as one of them."""

    desk: Any
    clock: Clock
    app: Flask
    password: str = "four dry brass terminals"

    def sit_down(self, *roles: Role, name: str | None = None) -> Any:
        """A browser at which a person with these roles is signed in."""
        person = name or " ".join(["Person", *sorted(roles)])
        if self.desk.store.people.with_password(person) is None:
            self.add(person, *roles)
        reader = self.somebody()
        assert self.sign_in(reader, person).status_code == 303
        return reader

    def add(self, person: str, *roles: Role) -> None:
        made = door_of(self.app).sign_in.new_hash(self.password, person=person)
        self.desk.store.people.add(person, frozenset(roles), password_hash=made)

    def somebody(self) -> Any:
        """A browser at which nobody is signed in."""
        return self.app.test_client()

    def sign_in(self, reader: Any, name: str, password: str | None = None, **more: str) -> Any:
        typed = self.password if password is None else password
        return reader.post("/sign-in", data={"name": name, "password": typed} | more)


@pytest.fixture
def peopled(
    store_folder: DataFolder, small_desk: Callable[..., Any], clock: Clock, quick_passwords: Passwords
) -> Iterator[PeopledDesk]:
    """A desk with a bench and a first account, an authoriser's; its store in a file, and on a server."""
    desk = small_desk(store_folder.path, now=clock)
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    made = PeopledDesk(desk=desk, clock=clock, app=create_app(desk, passwords=quick_passwords))
    made.add("Ida Marsh", Role.AUTHORISER)
    yield made
    desk.close()


@pytest.fixture
def peopled_result(finished_desk: Any, clock: Clock, quick_passwords: Passwords) -> PeopledDesk:
    """The desk on which run 1 came to its certificate, with an authoriser's account."""
    app = create_app(finished_desk, passwords=quick_passwords)
    made = PeopledDesk(desk=finished_desk, clock=clock, app=app)
    made.add("Ida Marsh", Role.AUTHORISER)
    return made
