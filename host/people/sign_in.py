"""Signing in: name and password against what is kept, with patience that runs out."""

import threading
from dataclasses import dataclass

from host.people.account import Account
from host.people.deed import Deed
from host.people.lockout import FOR_A_NAME, FOR_AN_ADDRESS, wait_s, wait_words
from host.people.password import Passwords
from host.store import Store

_WRONG = "This name and this password do not belong together."


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """An attempt that was not taken, in words that do not tell whether the name exists."""

    words: str


class SignIn:
    """Takes attempts, one at a time, so that many at once cannot outrun the counting.

    Parameters
    ----------
    store : Store
        Its clock is the one that counts.
    passwords : Passwords
    """

    def __init__(self, store: Store, passwords: Passwords) -> None:
        self._store = store
        self._passwords = passwords
        self._lock = threading.Lock()

    def attempt(self, name: str, password: str, *, address: str) -> Account | Refused:
        """Account that name and password belong to, or why not.

        Parameters
        ----------
        name, password : str
            As typed.
        address : str
            Where the attempt comes from.
        """
        with self._lock:
            words = self._wait_words(name, address)
            if words is not None:
                return Refused(words=words)
            found = self._store.people.with_password(name)
            account, kept = (None, None) if found is None else found
            if self._passwords.matches(kept, password) and account is not None and not account.disabled:
                self._store.sign_in_failures.forget_name(name)
                self._renew(account, kept, password)
                return account
            return self._refused(account, name, address)

    def new_hash(self, password: str, *, person: str) -> str:
        """Hash of a password that somebody chose.

        Raises
        ------
        PersonError
            If it will not do.
        """
        return self._passwords.hashed(password, person=person)

    def _refused(self, account: Account | None, name: str, address: str) -> Refused:
        self._store.sign_in_failures.add(name, address)
        # A name that nobody has may be a password typed into the wrong field: it is not written down.
        whose = "an unknown name" if account is None else account.name
        # Who typed it is not known: the line stands under nobody's name.
        subject = f"for {whose}, from {address}"
        self._store.audit.add(Deed.SIGN_IN_REFUSED, subject=subject)
        words = self._wait_words(name, address)
        if words is None:
            return Refused(words=_WRONG)
        self._store.audit.add(Deed.LOCKED_OUT, subject=subject)
        return Refused(words=f"{_WRONG} {words}")

    def _wait_words(self, name: str, address: str) -> str | None:
        now_s = self._store.now()
        for_name = wait_s(self._store.sign_in_failures.of_name(name), now_s, FOR_A_NAME)
        for_address = wait_s(self._store.sign_in_failures.of_address(address), now_s, FOR_AN_ADDRESS)
        if for_name <= 0.0 and for_address <= 0.0:
            return None
        whose = "for this name" if for_name >= for_address else "from this address"
        return f"There were too many wrong passwords {whose}. {wait_words(max(for_name, for_address))}"

    def _renew(self, account: Account, kept: str | None, password: str) -> None:
        if kept is not None and self._passwords.is_outdated(kept):
            new = self._passwords.rehashed(password)
            self._store.people.renew_hash(account.number, kept, new)
