"""``ohmbath person``: who may sign in at this desk, and as what."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from host.classroom.roster_taking import take_roster
from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, Refusal, json_text
from host.people.account import Account, PersonError, checked_person, roles_text
from host.people.deed import Deed
from host.people.password import Passwords
from host.people.role import Role
from host.store import Store

_BY_COMMAND = "command on the desk's machine"


@click.group()
def command() -> None:
    """Add people, give them roles and passwords, and list them."""


def _role_option(made: Callable[..., Any]) -> Callable[..., Any]:
    return click.option(
        "--role",
        "roles",
        multiple=True,
        required=True,
        type=click.Choice([role.value for role in Role]),
        help="What the person does here; may stand several times.",
    )(made)


def _password_options(made: Callable[..., Any]) -> Callable[..., Any]:
    from_file = click.option(
        "--password-file",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        help="File whose first line is the password. [default: asked for, twice]",
    )
    from_stdin = click.option(
        "--password-stdin", is_flag=True, help="The first line of standard input is the password."
    )
    return from_file(from_stdin(made))


@command.command(cls=OneLineCommand)
@click.argument("name")
@_role_option
@_password_options
@data_option
def add(
    name: str, roles: tuple[str, ...], password_file: Path | None, password_stdin: bool, folder: DataFolder
) -> None:
    """Add a person called NAME, as certificates will name them."""
    wanted = frozenset(Role(role) for role in roles)
    with opened(folder) as store:
        person = checked_person(name)
        _refuse_taken(store, person)
        made = Passwords().hashed(_password(password_file, password_stdin), person=person)
        first = not store.people.any()
        account = store.people.add(person, wanted, password_hash=made)
        _note(store, Deed.ACCOUNT_ADDED, f"{account.name}: {roles_text(account.roles)}")
        keeper = any(one.keeps_people for one in store.people.all())
    click.echo(f"{account.name} may sign in as {roles_text(account.roles)}.")
    if first:
        click.echo("From now on the pages of this desk ask who is there.")
    if not keeper:
        click.echo("Nobody may add people on the pages yet: that takes an authoriser or instructor.")


@command.command("list", cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def list_people(folder: DataFolder, as_json: bool) -> None:
    """List everybody who has an account, with their roles."""
    with opened(folder) as store:
        everybody = store.people.all()
    if as_json:
        click.echo(json_text({"people": [_as_json(one) for one in everybody]}))
        return
    if not everybody:
        click.echo("No account yet, so nobody has to sign in: 'ohmbath person add NAME --role authoriser'.")
    for one in everybody:
        state = "  disabled" if one.disabled else "" if one.has_password else "  no password yet"
        click.echo(f"{one.name:<32}  {roles_text(one.roles)}{state}")


@command.command(cls=OneLineCommand)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--new-slips", is_flag=True, help="New slips for those who never chose their own password.")
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def roster(file: Path, new_slips: bool, folder: DataFolder, as_json: bool) -> None:
    """Take a class in from FILE (CSV with the columns name and group), and print a slip for each new student.

    All rows or none; read again, groups are brought up to date and nobody is added twice.
    """
    with opened(folder) as store:
        if not store.people.any():
            raise Refusal("Add whoever keeps the people first: ohmbath person add NAME --role instructor")
        taken = take_roster(store, file.read_bytes(), Passwords(), new_slips=new_slips)
        if taken.is_refused:
            wrong = "; ".join(f"row {row.line} ({row.name}): {row.error}" for row in taken.rows if row.error)
            raise Refusal(f"Nothing was taken in. {wrong}")
        _note(store, Deed.ROSTER_READ, taken.words)
    if as_json:
        slips = [{"name": one.name, "group": one.group, "password": one.password} for one in taken.slips]
        click.echo(json_text({"slips": slips, "students": len(taken.rows)}))
        return
    for slip in taken.slips:
        click.echo(f"{slip.name:<32}  {slip.group:<16}  {slip.password}")
    click.echo(
        f"{len(taken.rows)} students, {len(taken.slips)} new slips. "
        "Each password opens the choice of another.",
        err=True,
    )


@command.command(cls=OneLineCommand)
@click.argument("name")
@_role_option
@data_option
def role(name: str, roles: tuple[str, ...], folder: DataFolder) -> None:
    """Give NAME these roles and no others."""
    with opened(folder) as store:
        account = store.people.named(name)
        store.people.set_roles(account.number, frozenset(Role(word) for word in roles))
        account = store.people.named(name)
        _note(store, Deed.ROLES_CHANGED, f"{account.name}: {roles_text(account.roles)}")
    click.echo(f"{account.name} is {roles_text(account.roles)} now.")


@command.command(cls=OneLineCommand)
@click.argument("name")
@_password_options
@data_option
def password(name: str, password_file: Path | None, password_stdin: bool, folder: DataFolder) -> None:
    """Give NAME another password; they are signed out everywhere."""
    with opened(folder) as store:
        account = store.people.named(name)
        made = Passwords().hashed(_password(password_file, password_stdin), person=account.name)
        store.people.set_password(account.number, made)
        store.sign_in_failures.forget_name(account.name)
        _note(store, Deed.PASSWORD_CHANGED, account.name)
    click.echo(f"{account.name} has a new password and is signed out everywhere.")


@command.command(cls=OneLineCommand)
@click.argument("name")
@data_option
def disable(name: str, folder: DataFolder) -> None:
    """Let NAME sign in no more; what they did stays under their name."""
    person = _set_disabled(folder, name, True, Deed.ACCOUNT_DISABLED)
    click.echo(f"{person} cannot sign in any more and is signed out everywhere.")


@command.command(cls=OneLineCommand)
@click.argument("name")
@data_option
def enable(name: str, folder: DataFolder) -> None:
    """Let NAME sign in again."""
    click.echo(f"{_set_disabled(folder, name, False, Deed.ACCOUNT_ENABLED)} may sign in again.")


def _set_disabled(folder: DataFolder, name: str, disabled: bool, deed: Deed) -> str:
    """Disable or enable an account; its name as certificates have it."""
    with opened(folder) as store:
        account = store.people.named(name)
        store.people.set_disabled(account.number, disabled)
        _note(store, deed, account.name)
    return account.name


def _refuse_taken(store: Store, person: str) -> None:
    """Before the password is asked for, which nobody types twice for nothing."""
    if store.people.with_password(person) is not None:
        raise PersonError(
            f"There is a person {person!r} already: 'ohmbath person role' changes what they may do."
        )


def _password(path: Path | None, from_stdin: bool) -> str:
    if path is not None and from_stdin:
        raise Refusal("Give --password-file or --password-stdin, not both.")
    if path is not None:
        return path.read_text("utf-8").split("\n")[0].removesuffix("\r")
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    typed: str = click.prompt("Password", hide_input=True, confirmation_prompt="The same again", err=True)
    return typed


def _note(store: Store, deed: Deed, subject: str) -> None:
    store.audit.add(deed, role=_BY_COMMAND, subject=subject)


def _as_json(account: Account) -> dict[str, Any]:
    return {
        "name": account.name,
        "roles": [role.value for role in Role if role in account.roles],
        "disabled": account.disabled,
        "has_password": account.has_password,
    }
