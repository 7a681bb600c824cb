"""An account: who somebody is at this desk, and what they may do here."""

import unicodedata
from dataclasses import dataclass

from host.certificates.errors import CertificateError
from host.certificates.printable import printable_text
from host.errors import DeskError
from host.people.role import Role

LONGEST_PERSON = 60
#: Roles that keep the people, and of which one person at least stays.
KEEPERS = frozenset({Role.AUTHORISER, Role.INSTRUCTOR})


class PersonError(DeskError):
    """A name, a password or a change of an account that cannot be taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """One account.

    Attributes
    ----------
    number : int
    name : str
        As it stands on certificates; also what is typed to sign in.
    roles : frozenset[Role]
        At least one.
    disabled : bool
        True where it signs nobody in any more; what the person did stays under their name.
    has_password : bool
        False until the first password is chosen by a one-time link.
    added_utc_s : float
        [s]
    has_first_password : bool
        True while the password is one from a slip: it opens nothing but the choice of another.
    group : str
        Class of a student; empty where none was given.
    """

    number: int
    name: str
    roles: frozenset[Role]
    disabled: bool
    has_password: bool
    added_utc_s: float
    has_first_password: bool = False
    group: str = ""

    @property
    def keeps_people(self) -> bool:
        """Tell whether this account may change others right now."""
        return not self.disabled and bool(self.roles & KEEPERS)


def checked_person(typed: str) -> str:
    """Name of a person as it will stand on certificates.

    Raises
    ------
    PersonError
        If it is empty, too long or cannot be printed.
    """
    try:
        name = printable_text(typed, "the name", longest=LONGEST_PERSON)
    except CertificateError as error:
        raise PersonError(str(error)) from error
    if not name:
        raise PersonError("Write the person's name as it stands on certificates.")
    return name


def name_key(typed: str) -> str:
    """What two spellings of one name have in common: neither case nor spaces tell people apart."""
    return " ".join(unicodedata.normalize("NFKC", typed).casefold().split())


def roles_text(roles: frozenset[Role]) -> str:
    """Roles in their usual order, with commas."""
    return ", ".join(role.value for role in Role if role in roles)


def roles_from_text(text: str) -> frozenset[Role]:
    """Roles as `roles_text` wrote them."""
    return frozenset(Role(word.strip()) for word in text.split(",") if word.strip())
