"""A roster taken into the store: all of it or nothing, with a slip for each new student."""

from collections.abc import Callable
from dataclasses import dataclass

from host.classroom.roster import RosterError, RosterRow, Slip, held_against, new_password, rows_of
from host.people.account import Account, name_key
from host.people.password import Passwords
from host.store import Store
from host.store.people import NewStudent

#: Slips of one file: somebody waits for the page while each first password is hashed, a third of a second on
#: a machine of two busy cores.
MOST_SLIPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What came of a roster.

    Attributes
    ----------
    rows : tuple[RosterRow, ...]
        As read; where one has an error nothing was changed.
    slips : tuple[Slip, ...]
        First passwords, known here alone and only now.
    known : int
        Students who had an account already; their group is that of the file now.
    """

    rows: tuple[RosterRow, ...]
    slips: tuple[Slip, ...] = ()
    known: int = 0

    @property
    def is_refused(self) -> bool:
        """Whether a row could not be taken, so that nothing was."""
        return any(row.error for row in self.rows)

    @property
    def words(self) -> str:
        """For the list of deeds."""
        return f"{len(self.slips)} slips, {len(self.rows)} students"


def take_roster(
    store: Store,
    data: bytes,
    passwords: Passwords,
    *,
    new_slips: bool = False,
    is_ending: Callable[[], bool] = lambda: False,
) -> Taken:
    """Take a roster in.

    Parameters
    ----------
    store : Store
    data : bytes
        Of the file.
    passwords : Passwords
    new_slips : bool
        Whether those who never chose a password of their own get a new slip.
    is_ending : callable
        Whether the desk is being ended; asked before each slip.

    Raises
    ------
    RosterError
        If it is no roster at all, wants more slips than are made at a time, or the desk is being ended:
        then nothing was taken in.
    PersonError
        If an account was added meanwhile under one of its names.
    """
    everybody = store.people.all()
    rows = held_against(rows_of(data), everybody)
    if any(row.error for row in rows):
        return Taken(rows=rows)
    known = {name_key(account.name): account for account in everybody}
    slips = tuple(
        Slip(name=row.name, group=row.group, password=new_password())
        for row in rows
        if _wants_slip(known.get(name_key(row.name)), new_slips)
    )
    if len(slips) > MOST_SLIPS:
        raise RosterError(
            f"This file wants {len(slips)} new slips, and {MOST_SLIPS} are made at a time, since each takes "
            "a moment: send one class after the other."
        )
    hashes = {}
    for slip in slips:
        if is_ending():
            raise RosterError(
                "The desk is being ended, and nothing was taken in: start it again and send the file "
                "once more."
            )
        hashes[slip.name] = passwords.hashed(slip.password, person=slip.name)
    store.people.take_students(
        [NewStudent(name=row.name, group=row.group, password_hash=hashes.get(row.name)) for row in rows]
    )
    for slip in slips:
        store.sign_in_failures.forget_name(slip.name)
    return Taken(rows=rows, slips=slips, known=sum(name_key(row.name) in known for row in rows))


def _wants_slip(account: Account | None, new_slips: bool) -> bool:
    if account is None:
        return True
    return not account.has_password or (new_slips and account.has_first_password)
