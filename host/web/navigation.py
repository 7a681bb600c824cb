"""Ways through the pages, as every page shows them."""

from collections.abc import Iterable
from dataclasses import dataclass

from flask import Flask
from werkzeug.exceptions import HTTPException

from host.people.role import ALL_ROLES, STAFF, Role
from host.people.visitor import Visitor
from host.web.rules import rule_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One link of every page's head or foot.

    Attributes
    ----------
    words : str
    address : str
        Where it leads; also the page it marks as the one being read.
    roles : frozenset[Role]
        Whom it is for, where more may open it than have a use for it.
    needs_accounts : bool
        Whether it leads nowhere at a desk at which nobody signs in.
    """

    words: str
    address: str
    roles: frozenset[Role] = ALL_ROLES
    needs_accounts: bool = False


#: At the head of every page: where the work is.
HEAD = (
    Way(words="Stations", address="/", roles=STAFF),
    Way(words="Your exercises", address="/exercise", needs_accounts=True),
    Way(words="Runs", address="/runs"),
    Way(words="On the vehicle", address="/on-the-vehicle"),
    Way(words="Infrared", address="/infrared"),
    Way(words="Certificates", address="/certificates"),
    Way(words="Exercises", address="/exercises", needs_accounts=True),
)
#: At its foot: what is looked up now and then.
FOOT: tuple[Way, ...] = (
    Way(words="Rounds", address="/rounds"),
    Way(words="Wall", address="/wall"),
    Way(words="Register", address="/register"),
    Way(words="Curves", address="/curves"),
    Way(words="Settings", address="/settings"),
    Way(words="People", address="/people"),
    Way(words="Who did what", address="/audit"),
    Way(words="Verify a paper", address="/verify"),
    Way(words="Help", address="/help"),
)


def ways_for(app: Flask, ways: Iterable[Way], visitor: Visitor) -> list[Way]:
    """Those ways that lead somebody to a page they may open."""
    return [way for way in ways if _is_for(way, visitor) and may_open(app, way.address, visitor)]


def _is_for(way: Way, visitor: Visitor) -> bool:
    if way.needs_accounts and visitor.is_open_desk:
        return False
    return not visitor.roles or visitor.has_one_of(way.roles)


def may_open(app: Flask, address: str, visitor: Visitor) -> bool:
    """Tell whether the rule of the page at an address lets somebody in."""
    try:
        endpoint, _ = app.url_map.bind("").match(address)
    except HTTPException:
        return False
    rule = rule_of(app, endpoint)
    return rule is not None and (rule.is_open or visitor.has_one_of(rule.roles))
