"""Signing in and out, and what somebody may change about themselves at a screen."""

from flask import Blueprint, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.people.account import Account, PersonError
from host.people.deed import Deed
from host.people.role import ALL_ROLES, Role
from host.people.session import new_token
from host.people.sign_in import Refused
from host.people.visitor import Visitor
from host.web.audit_note import note
from host.web.desk_behind import the_desk
from host.web.door import take_visitor, the_door, the_visitor
from host.web.rules import allowed, open_to_anyone
from host.web.sign_in_way import safe_way
from host.web.visit import begin_new_visit, visit_token

sign_in_pages = Blueprint("sign_in", __name__)


@sign_in_pages.get("/sign-in")
@open_to_anyone
def sign_in_page() -> str:
    """Name and password; at an open desk, how to add the first account."""
    return render_template("sign_in.html", next=safe_way(request.args.get("next", "/")), name="", words="")


@sign_in_pages.post("/sign-in")
@open_to_anyone
def sign_in() -> AnyResponse | tuple[str, int]:
    """Begin a session, or say why not."""
    name = request.form.get("name", "")
    leads_to = safe_way(request.form.get("next", "/"))
    answer = the_door().sign_in.attempt(name, request.form.get("password", ""), address=_address())
    if isinstance(answer, Refused):
        return render_template("sign_in.html", next=leads_to, name=name, words=answer.words), 422
    _begin(answer)
    note(Deed.SIGNED_IN, f"from {_address()}")
    return redirect(leads_to, 303)


@sign_in_pages.post("/sign-out")
@open_to_anyone
def sign_out() -> AnyResponse:
    """End the session at this screen."""
    if the_visitor().account is not None:
        note(Deed.SIGNED_OUT, "")
        the_desk().store.sessions.end(visit_token())
        begin_new_visit(new_token())
    return redirect("/sign-in", 303)


@sign_in_pages.get("/you")
@allowed(*ALL_ROLES)
def you() -> str:
    """Who is signed in here, what this screen keeps to, and the own password."""
    return render_template("you.html", errors={})


@sign_in_pages.post("/you/pin")
@allowed(*ALL_ROLES)
def pin() -> AnyResponse | tuple[str, int]:
    """Keep this screen to one role."""
    visitor = the_visitor()
    wanted = request.form.get("role", "")
    if visitor.account is None or wanted not in visitor.roles:
        return render_template("you.html", errors={"pin": "Choose one of your own roles."}), 422
    note(Deed.SCREEN_PINNED, wanted)
    the_desk().store.sessions.pin(visit_token(), Role(wanted))
    return redirect("/you", 303)


@sign_in_pages.post("/you/unpin")
@open_to_anyone
def unpin() -> AnyResponse | tuple[str, int]:
    """Give this screen back all roles of the person, against their password."""
    visitor = the_visitor()
    if visitor.account is None:
        return redirect("/sign-in", 303)
    answer = _own_attempt(visitor, "password")
    if isinstance(answer, Refused):
        return render_template("you.html", errors={"unpin": answer.words}), 422
    _begin(answer)
    note(Deed.SCREEN_UNPINNED, "")
    return redirect("/you", 303)


@sign_in_pages.post("/you/password")
@allowed(*ALL_ROLES)
def change_password() -> AnyResponse | tuple[str, int]:
    """Another password, against the one of until now."""
    visitor = the_visitor()
    if visitor.account is None:
        return redirect("/you", 303)
    new = request.form.get("new", "")
    if new != request.form.get("again", ""):
        return render_template("you.html", errors={"again": "These two are not the same."}), 422
    if visitor.account.has_first_password and new == request.form.get("old", ""):
        return render_template("you.html", errors={"new": "Choose another than the one on the slip."}), 422
    answer = _own_attempt(visitor, "old")
    if isinstance(answer, Refused):
        return render_template("you.html", errors={"old": answer.words}), 422
    try:
        made = the_door().sign_in.new_hash(new, person=answer.name)
    except PersonError as error:
        return render_template("you.html", errors={"new": str(error)}), 422
    the_desk().store.people.set_password(answer.number, made, keep_token=visit_token())
    note(Deed.PASSWORD_CHANGED, answer.name)
    # Who came by a slip goes on to what it is for.
    return redirect("/" if visitor.account.has_first_password else "/you", 303)


def _own_attempt(visitor: Visitor, field: str) -> Account | Refused:
    return the_door().sign_in.attempt(visitor.name, request.form.get(field, ""), address=_address())


def _begin(account: Account) -> None:
    """A fresh token for who has just shown their password; the one of before leads nowhere any more."""
    store = the_desk().store
    store.sessions.end(visit_token())
    token = store.sessions.begin(account.number)
    begin_new_visit(token)
    take_visitor(token)


def _address() -> str:
    return request.remote_addr or "unknown"
