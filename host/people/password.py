"""Passwords: kept as argon2id hashes, never as typed.

Length counts and nothing else is asked of a password: no digits or signs by rule, no date of change
(NIST SP 800-63B, 5.1.1.2, from memory). There is no default password anywhere.
"""

import threading
import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError
from argon2.profiles import RFC_9106_LOW_MEMORY

from host.people.account import PersonError, name_key

SHORTEST = 10
LONGEST = 200
# What a name or a bench gives away is tried first by anybody.
_TOO_PLAIN = frozenset({"password", "passwort", "ohmbath", "coolant", "thermistor", "qwertyuiop", "letmein"})


class Passwords:
    """Makes and checks hashes.

    Parameters
    ----------
    hasher : PasswordHasher, optional
        Its parameters are those of new hashes; by default RFC 9106's second recommendation (64 MiB,
        three passes, four lanes).
    """

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
        # One at a time: each takes its 64 MiB.
        self._lock = threading.Lock()
        self._nobody: str | None = None

    def hashed(self, password: str, *, person: str) -> str:
        """Hash of a new password.

        Raises
        ------
        PersonError
            If it is too short, too long, or is what anybody would try first.
        """
        plain = _composed(password)
        _check(plain, person)
        with self._lock:
            return self._hasher.hash(plain)

    def rehashed(self, password: str) -> str:
        """Hash of a password that is in use already, with today's parameters."""
        with self._lock:
            return self._hasher.hash(_composed(password))

    def matches(self, kept: str | None, password: str) -> bool:
        """Tell whether a password is the one that was hashed.

        Without a hash (nobody of that name, or no password yet) it is compared to one that nobody has,
        so that the answer takes as long.
        """
        plain = _composed(password)
        if len(plain) > LONGEST:  # nobody's, and not worth the time
            plain, kept = "", None
        with self._lock:
            if self._nobody is None:
                self._nobody = self._hasher.hash("nobody at all")
            try:
                self._hasher.verify(kept or self._nobody, plain)
            except (VerifyMismatchError, VerificationError, InvalidHashError):
                return False
        return bool(kept)

    def is_outdated(self, kept: str) -> bool:
        """Tell whether a hash was made with other parameters than those of today."""
        return self._hasher.check_needs_rehash(kept)


def _composed(password: str) -> str:
    """The same password from every keyboard: composed, neither cut nor trimmed."""
    return unicodedata.normalize("NFC", password)


def _check(password: str, person: str) -> None:
    if len(password) < SHORTEST:
        raise PersonError(
            f"A password has {SHORTEST} characters or more; this one has {len(password)}. "
            "Three or four words do well."
        )
    if len(password) > LONGEST:
        raise PersonError(f"A password has {LONGEST} characters at most; this one has {len(password)}.")
    plain = name_key(password)
    letters = "".join(letter for letter in plain if letter.isalpha())
    if len(set(plain)) < 4 or letters in _TOO_PLAIN or plain == name_key(person):
        raise PersonError(
            "Anybody would try this password first: take another, three or four words for example."
        )
