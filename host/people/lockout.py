"""How long to wait after wrong passwords: longer with each, never for good.

A name and an address are counted by themselves. Guessing at one name from many addresses is slowed
by the name, one address guessing at many names by the address. No wait is longer than a quarter of
an hour, so that nobody can shut a person out by typing nonsense under their name.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How many failures are free, and what the next ones cost.

    Attributes
    ----------
    free : int
        Failures without a wait.
    first_wait_s, longest_wait_s : float
        Wait after one more; each further one doubles it up to the longest. [s]
    forgets_s : float
        Failures older than this do not count. [s]
    """

    free: int
    first_wait_s: float = 30.0
    longest_wait_s: float = 900.0
    forgets_s: float = 3600.0


#: For one name: some hundred guesses in a day, of which the right password makes a fresh start.
FOR_A_NAME = Patience(free=4, forgets_s=86_400.0)
#: For one address: a classroom behind one address mistypes more.
FOR_AN_ADDRESS = Patience(free=19)


def wait_s(failures_utc_s: Sequence[float], now_utc_s: float, patience: Patience) -> float:
    """Time until the next attempt is taken, 0 where it is taken now. [s]

    Parameters
    ----------
    failures_utc_s : Sequence[float]
        When wrong passwords were given, in any order. [s]
    now_utc_s : float
        [s]
    patience : Patience
    """
    # Failures of a time to come were written before the clock was set back: they would bind for too long.
    counted = sorted(at for at in failures_utc_s if 0.0 <= now_utc_s - at < patience.forgets_s)
    beyond = len(counted) - patience.free
    if beyond <= 0:
        return 0.0
    doubled = min(beyond - 1, 30)
    wait = min(patience.first_wait_s * 2.0**doubled, patience.longest_wait_s)
    return max(0.0, counted[-1] + wait - now_utc_s)


def wait_words(wait: float) -> str:
    """When to try again, for the person in front of it."""
    if wait < 90.0:
        return f"Try again in {max(1, round(wait))} s."
    return f"Try again in {-(-wait // 60):.0f} min."
