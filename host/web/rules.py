"""Who may open which page: a rule stands beside every route, and a route without one fails a test."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from flask import Flask

from host.people.role import Role

_Page = TypeVar("_Page", bound=Callable[..., Any])
_KEY = "_ohmbath_rule"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """Rule of one route.

    Attributes
    ----------
    roles : frozenset[Role]
        Roles that may open it.
    is_open : bool
        True where nobody needs to have signed in: signing in itself, styles, help.
    """

    roles: frozenset[Role] = frozenset()
    is_open: bool = False


def allowed(*roles: Role) -> Callable[[_Page], _Page]:
    """Rule of a page that these roles may open; stands below the route.

    Raises
    ------
    ValueError
        If no role is named: a page that nobody may open is a mistake.
    """
    if not roles:
        raise ValueError("Name the roles that may open this page.")
    return _with_rule(Rule(roles=frozenset(roles)))


def open_to_anyone(page: _Page) -> _Page:
    """Rule of a page that needs no signing in; stands below the route."""
    return _with_rule(Rule(is_open=True))(page)


def rule_of(app: Flask, endpoint: str) -> Rule | None:
    """Rule of an endpoint, None where it has none (then nobody may open it)."""
    if endpoint == "static":
        return Rule(is_open=True)
    rule = getattr(app.view_functions[endpoint], _KEY, None)
    return rule if isinstance(rule, Rule) else None


def _with_rule(rule: Rule) -> Callable[[_Page], _Page]:
    def give(page: _Page) -> _Page:
        setattr(page, _KEY, rule)
        return page

    return give
