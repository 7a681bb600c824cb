"""The roster of a class, as a CSV file: a name a row, and the group it belongs to.

Header ``name`` and, if wanted, ``group``; commas, semicolons or tabs between; UTF-8. The name is what is
typed to sign in, as everywhere at this desk.
"""

import csv
import io
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from host.certificates.errors import CertificateError
from host.certificates.printable import printable_text
from host.errors import DeskError
from host.people.account import Account, PersonError, checked_person, name_key, roles_text
from host.people.role import Role

LONGEST_ROSTER = 500
LONGEST_GROUP = 40
_COLUMNS = frozenset({"name", "group"})
_SEPARATORS = (";", "\t", ",")
# Syllables that are read out and typed without mistakes: no c, q, x, y, no l beside i.
_CONSONANTS, _VOWELS = "bdfghjkmnprstvwz", "aeiou"
_SYLLABLES, _IN_A_WORD = 8, 2


class RosterError(DeskError):
    """A file that is no roster as a whole; says what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RosterRow:
    """One row.

    Attributes
    ----------
    line : int
        Of the file, as an editor counts it.
    name, group : str
        As it was written; checked where there is no error.
    error : str
        Why it cannot be taken; empty where it can.
    """

    line: int
    name: str
    group: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """What one new student is handed: a first password, to be changed at the first signing in."""

    name: str
    group: str
    password: str


def rows_of(data: bytes) -> tuple[RosterRow, ...]:
    """Rows of a file, those that cannot be taken with their error.

    Raises
    ------
    RosterError
        If it is no such file at all.
    """
    text = _text_of(data)
    lines = text.splitlines()
    if not lines or not text.strip():
        raise RosterError("The roster is empty: write a header “name,group” and a student in each row.")
    separator = next((one for one in _SEPARATORS if one in lines[0]), ",")
    try:
        read = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        rows = [(read.line_num, _without_empty_end(cells)) for cells in read if any(cells)]
    except csv.Error as error:
        raise RosterError(f"The quotes in the roster do not match ({error}): remove them.") from error
    (_, header), *body = rows
    columns = [column.casefold() for column in header]
    if columns.count("name") != 1 or columns.count("group") > 1:
        raise RosterError(
            f"The first row is {', '.join(header)!r:.60}: it has to name the columns, “name” and, if wanted, "
            "“group”."
        )
    unknown = [name for name, column in zip(header, columns, strict=True) if column not in _COLUMNS]
    if unknown:
        raise RosterError(
            f"The first row names {', '.join(unknown)!r:.60} as well, which would be dropped: name the "
            "columns “name” and “group”, and take any other out."
        )
    if not body:
        raise RosterError("There is no student below the header: write one in each row.")
    if len(body) > LONGEST_ROSTER:
        raise RosterError(f"A roster has {LONGEST_ROSTER} students at most; this one has {len(body)}.")
    return _without_doubles(_row(line, cells, columns) for line, cells in body)


def held_against(rows: Iterable[RosterRow], accounts: Iterable[Account]) -> tuple[RosterRow, ...]:
    """The same rows, with an error where somebody here has the name and is no mere student."""
    known = {name_key(account.name): account for account in accounts}
    found = []
    for row in rows:
        account = known.get(name_key(row.name))
        if not row.error and account is not None and account.roles != {Role.STUDENT}:
            words = f"{account.name} is {roles_text(account.roles)} here: give the student another name."
            row = replace(row, error=words)
        found.append(row)
    return tuple(found)


def new_password() -> str:
    """First password: eight syllables by chance, some 50 bits."""
    syllables = [secrets.choice(_CONSONANTS) + secrets.choice(_VOWELS) for _ in range(_SYLLABLES)]
    return "-".join(
        "".join(syllables[start : start + _IN_A_WORD]) for start in range(0, _SYLLABLES, _IN_A_WORD)
    )


def _text_of(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise RosterError(
            f"Row {line} of the roster is not UTF-8 text, so names would come out wrong: save it as "
            "“CSV UTF-8”."
        ) from error
    if "\0" in text:
        raise RosterError("The roster holds bytes that are no text: save it as “CSV UTF-8”.")
    return text


def _without_empty_end(cells: list[str]) -> list[str]:
    """Cells without those that a spreadsheet writes for columns in which nothing stands."""
    found = [cell.strip() for cell in cells]
    while found and not found[-1]:
        found.pop()
    return found


def _row(line: int, cells: list[str], columns: list[str]) -> RosterRow:
    if len(cells) > len(columns):
        words = f"This row has {len(cells)} cells, and the header names {len(columns)} columns."
        return RosterRow(line=line, name=" ".join(cells)[:LONGEST_GROUP], error=words)
    given: Mapping[str, str] = dict(zip(columns, cells, strict=False))
    name, group = given.get("name", ""), given.get("group", "")
    try:
        return RosterRow(
            line=line,
            name=checked_person(name),
            group=printable_text(group, "the group", longest=LONGEST_GROUP),
        )
    except (PersonError, CertificateError) as error:
        return RosterRow(line=line, name=name, group=group, error=str(error))


def _without_doubles(rows: Iterable[RosterRow]) -> tuple[RosterRow, ...]:
    """Rows, a name that comes again with an error: two students cannot sign in by one name."""
    first: dict[str, int] = {}
    found = []
    for row in rows:
        key = name_key(row.name)
        if not row.error and key in first:
            row = replace(row, error=f"The same name as in row {first[key]}: tell them apart.")
        first.setdefault(key, row.line)
        found.append(row)
    return tuple(found)
