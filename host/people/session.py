"""How long somebody stays signed in at a screen."""

import hashlib
import secrets
from dataclasses import dataclass

from host.people.role import Role

#: A screen at which nobody opened a page for so long is signed out. [s]
IDLE_S = 12 * 3600.0
#: Everybody signs in again after so long. [s]
LONGEST_S = 7 * 24 * 3600.0
_TOKEN_BYTES = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """One person at one screen.

    Attributes
    ----------
    account : int
        Number of the account.
    begun_utc_s, seen_utc_s : float
        When they signed in, and when they last opened a page. [s]
    pinned : Role or None
        The one role that this screen keeps to, where it was pinned.
    """

    account: int
    begun_utc_s: float
    seen_utc_s: float
    pinned: Role | None = None

    def is_over(self, now_utc_s: float) -> bool:
        """Tell whether it has run out; a clock that was set back ends nothing."""
        return now_utc_s - self.seen_utc_s >= IDLE_S or now_utc_s - self.begun_utc_s >= LONGEST_S


def new_token() -> str:
    """A token that nobody can guess: 256 random bits."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def token_digest(token: str) -> str:
    """What the store keeps of a token, so that a copied store signs nobody in."""
    return hashlib.sha256(token.encode("utf-8")).hexdigest()
