"""The people of this desk: who may sign in, as what; added, changed and disabled."""

from flask import Blueprint, abort, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from host.errors import DeskError
from host.people.account import Account, PersonError, checked_person, roles_text
from host.people.deed import Deed
from host.people.role import Role
from host.web.audit_note import note
from host.web.desk_behind import the_desk
from host.web.door import the_door, the_visitor
from host.web.rules import allowed

people_pages = Blueprint("people", __name__)

_ONLY_AUTHORISERS = (
    "Only an authoriser makes another one, or opens an authoriser's account: ask one, or use a terminal on "
    "the desk's machine (ohmbath person)."
)


@people_pages.get("/people")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def index() -> str:
    """Everybody who has an account, and the form for one more."""
    return _page()


@people_pages.post("/people")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def add() -> AnyResponse | tuple[str, int]:
    """Add a person, or say beside the field why not."""
    _refuse_open_desk()
    typed, roles = request.form.get("name", ""), _roles()
    errors: dict[str, str] = {}
    made = ""
    if not roles:
        errors["roles"] = "Choose one role at least."
    elif Role.AUTHORISER in roles and not _is_authoriser():
        errors["roles"] = _ONLY_AUTHORISERS
    try:
        name = checked_person(typed)
    except PersonError as error:
        errors["name"], name = str(error), ""
    try:
        made = the_door().sign_in.new_hash(request.form.get("password", ""), person=name)
    except PersonError as error:
        errors["password"] = str(error)
    if not errors:
        try:
            account = the_desk().store.people.add(name, roles, password_hash=made)
        except PersonError as error:
            errors["name"] = str(error)
        else:
            note(Deed.ACCOUNT_ADDED, f"{account.name}: {roles_text(account.roles)}")
            return redirect("/people", 303)
    return _page(typed=typed, chosen=roles, errors=errors), 422


@people_pages.post("/people/<int:number>/roles")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def roles(number: int) -> AnyResponse | tuple[str, int]:
    """Give somebody these roles and no others."""
    people, account = the_desk().store.people, _account(number)
    if Role.AUTHORISER in _roles() - account.roles and not _is_authoriser():
        return _page(changing=number, errors_of_change={"roles": _ONLY_AUTHORISERS}, chosen=_roles()), 422
    try:
        people.set_roles(number, _roles())
    except PersonError as error:
        return _page(changing=number, errors_of_change={"roles": str(error)}, chosen=_roles()), 422
    note(Deed.ROLES_CHANGED, f"{account.name}: {roles_text(_roles())}")
    return redirect("/people", 303)


@people_pages.post("/people/<int:number>/able")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def able(number: int) -> AnyResponse | tuple[str, int]:
    """Disable an account, or enable it again."""
    people, account = the_desk().store.people, _account(number)
    disabled = request.form.get("disabled") == "yes"
    if not disabled and _is_closed_to_this_visitor(account):
        return _page(changing=number, errors_of_change={"able": _ONLY_AUTHORISERS}), 422
    try:
        people.set_disabled(number, disabled)
    except PersonError as error:
        return _page(changing=number, errors_of_change={"able": str(error)}), 422
    note(Deed.ACCOUNT_DISABLED if disabled else Deed.ACCOUNT_ENABLED, account.name)
    return redirect("/people", 303)


@people_pages.post("/people/<int:number>/password")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def password(number: int) -> AnyResponse | tuple[str, int]:
    """Give somebody another password; they are signed out everywhere."""
    store, account = the_desk().store, _account(number)
    if _is_closed_to_this_visitor(account):
        return _page(changing=number, errors_of_change={"password": _ONLY_AUTHORISERS}), 422
    try:
        made = the_door().sign_in.new_hash(request.form.get("password", ""), person=account.name)
    except PersonError as error:
        return _page(changing=number, errors_of_change={"password": str(error)}), 422
    store.people.set_password(number, made)
    store.sign_in_failures.forget_name(account.name)
    note(Deed.PASSWORD_CHANGED, account.name)
    return redirect("/people", 303)


def _is_authoriser() -> bool:
    """Nobody else hands that role on, so nobody gives it to themselves."""
    return Role.AUTHORISER in the_visitor().roles


def _is_closed_to_this_visitor(account: Account) -> bool:
    """Whoever knew an authoriser's password, or opened their account again, could sign as them."""
    return Role.AUTHORISER in account.roles and not _is_authoriser()


def _roles() -> frozenset[Role]:
    return frozenset(role for role in Role if role.value in request.form.getlist("role"))


def _account(number: int) -> Account:
    _refuse_open_desk()
    try:
        return the_desk().store.people.numbered(number)
    except DeskError as error:
        abort(404, description=str(error))


def _refuse_open_desk() -> None:
    """The first account is made in a terminal: by then whoever sits there owns the machine."""
    if the_visitor().is_open_desk:
        raise DeskError(
            'The first account is made in a terminal on this machine: ohmbath person add "NAME" '
            "--role authoriser --role technician. After that people are added here."
        )


def _page(
    *,
    typed: str = "",
    chosen: frozenset[Role] = frozenset(),
    errors: dict[str, str] | None = None,
    changing: int | None = None,
    errors_of_change: dict[str, str] | None = None,
) -> str:
    return render_template(
        "people.html",
        people=the_desk().store.people.all(),
        every_role=tuple(Role),
        typed=typed,
        chosen=chosen,
        errors=errors or {},
        changing=changing,
        errors_of_change=errors_of_change or {},
    )
