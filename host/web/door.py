"""The door: before every request, who is there and whether the page's rule lets them in."""

from typing import cast

from flask import Flask, Response, abort, current_app, g, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.people.account import roles_text
from host.people.password import Passwords
from host.people.role import Role
from host.people.sign_in import SignIn
from host.people.visitor import NOBODY, OPEN_DESK, Visitor, greeted, signed_in
from host.web.desk_behind import DeskBehind, the_desk
from host.web.form_key import has_its_key, needs_key
from host.web.reach import Reach
from host.web.rules import Rule, rule_of
from host.web.same_origin import refusal
from host.web.sign_in_way import sign_in_way
from host.web.visit import given_token

_KEY = "ohmbath.door"
_WITH_A_SLIP = ("sign_in.you", "sign_in.change_password")
_STALE_FORM = (
    "This form was made for another visit, so nothing was done. "
    "Go back, load the page anew, and send it again."
)


class Door:
    """What the door needs to know: the reach of the pages, and how people sign in.

    Parameters
    ----------
    desk : DeskBehind
    reach : Reach
    passwords : Passwords
    takes_all_for : str
        Name of the person for whom a demo takes everybody who has not signed in; empty at any other desk.

    Raises
    ------
    ValueError
        If people would be taken for somebody who sit at other machines.
    """

    def __init__(
        self, desk: DeskBehind, reach: Reach, passwords: Passwords, *, takes_all_for: str = ""
    ) -> None:
        if takes_all_for and not reach.is_this_machine_only:
            raise ValueError("A desk that other machines reach asks everybody who they are.")
        self.reach = reach
        self.takes_all_for = takes_all_for
        self.passwords = passwords
        self.sign_in = SignIn(desk.store, passwords)


def put_door(app: Flask, door: Door) -> None:
    """Give an app its door; every request passes it."""
    app.extensions[_KEY] = door
    app.before_request(_pass_the_door)


def door_of(app: Flask) -> Door:
    """Door of an app."""
    return cast(Door, app.extensions[_KEY])


def the_door() -> Door:
    """Door of the page that is being made."""
    return door_of(current_app)


def the_visitor() -> Visitor:
    """Who asked for the page that is being made."""
    return cast(Visitor, g.get("visitor", NOBODY))


def take_visitor(token: str) -> None:
    """From here on this request is that of the session of ``token``."""
    g.visitor = _visitor_of(token)


def _pass_the_door() -> AnyResponse | tuple[str, int] | None:
    g.visitor = _visitor_of(given_token())
    words = refusal(request, the_door().reach, asks_nobody=g.visitor.is_open_desk or g.visitor.is_greeted)
    if words is not None:
        g.visitor = NOBODY
        abort(403, description=words)
    if request.endpoint is None:  # there is no such page, which is said to anybody
        return None
    rule = rule_of(current_app, request.endpoint)
    stopped = _stopped_by(rule, g.visitor)
    if stopped is not None:
        return stopped
    if needs_key(request) and not has_its_key(request):
        abort(403, description=_STALE_FORM)
    return _sent_to_choose_a_password()


def _sent_to_choose_a_password() -> AnyResponse | None:
    """A password from a slip passed through other hands: it opens the choice of another, and open pages."""
    account = g.visitor.account
    if account is None or not account.has_first_password or request.endpoint in _WITH_A_SLIP:
        return None
    rule = rule_of(current_app, request.endpoint or "")
    return None if rule is not None and rule.is_open else redirect("/you", 303)


def _visitor_of(token: str | None) -> Visitor:
    store = the_desk().store
    session = None if token is None else store.sessions.of(token)
    if token is None or session is None:
        return _not_signed_in()
    if "text/html" in request.headers.get("Accept", ""):
        # A page that looks for news by itself keeps nobody signed in.
        store.sessions.see(token, session)
    return signed_in(store.people.numbered(session.account), session)


def _not_signed_in() -> Visitor:
    people, name = the_desk().store.people, the_door().takes_all_for
    if name:
        return greeted(people.named(name))
    return NOBODY if people.any() else OPEN_DESK


def _stopped_by(rule: Rule | None, visitor: Visitor) -> AnyResponse | tuple[str, int] | None:
    if rule is None:
        abort(403, description="This page has no rule that says who may open it, so nobody may.")
    if rule.is_open or visitor.has_one_of(rule.roles):
        return None
    if visitor.account is None:
        return _ask_to_sign_in()
    is_pinned_away = bool(visitor.account.roles & rule.roles)
    holders = _holders(rule.roles)
    return render_template("not_yours.html", rule=rule, holders=holders, is_pinned_away=is_pinned_away), 403


def _ask_to_sign_in() -> AnyResponse:
    opens_a_page = request.method == "GET" and "text/html" in request.headers.get("Accept", "")
    if opens_a_page:
        return redirect(sign_in_way(request.full_path if request.query_string else request.path), 303)
    if request.method in ("GET", "HEAD"):
        return Response("Sign in first.\n", 401, mimetype="text/plain")
    return Response(render_template("signed_out.html"), 401, mimetype="text/html")


def _holders(roles: frozenset[Role]) -> list[str]:
    """Who may open a page, by name, with what they are."""
    return [
        f"{account.name} ({roles_text(account.roles & roles)})"
        for account in the_desk().store.people.all()
        if account.roles & roles and not account.disabled
    ]
