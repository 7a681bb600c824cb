"""Ways through the pages, as every page shows them."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One link of every page's head or foot.

    Attributes
    ----------
    words : str
    address : str
        Where it leads; also the page it marks as the one being read.
    """

    words: str
    address: str


#: At the head of every page: where the work is.
HEAD = (
    Way(words="Stations", address="/"),
    Way(words="Runs", address="/runs"),
    Way(words="On the vehicle", address="/on-the-vehicle"),
    Way(words="Certificates", address="/certificates"),
)
#: At its foot: what is looked up now and then.
FOOT: tuple[Way, ...] = (
    Way(words="Register", address="/register"),
    Way(words="Curves", address="/curves"),
    Way(words="Settings", address="/settings"),
    Way(words="Help", address="/help"),
)
