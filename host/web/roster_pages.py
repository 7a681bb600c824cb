"""The roster of a class: taken in from a file, with a slip for each new student."""

from urllib.parse import urlsplit

from flask import Blueprint, current_app, render_template, request

from host.classroom.roster import RosterError
from host.classroom.roster_taking import Taken, take_roster
from host.errors import DeskError
from host.people.deed import Deed
from host.people.role import Role
from host.web.audit_note import note
from host.web.desk_behind import the_desk
from host.web.door import the_door, the_visitor
from host.web.live_stream import streams_of
from host.web.reach import is_loopback
from host.web.rules import allowed

roster_pages = Blueprint("roster", __name__)


@roster_pages.get("/roster")
@allowed(Role.INSTRUCTOR)
def index() -> str:
    """The form, and who is here."""
    return _page()


@roster_pages.post("/roster")
@allowed(Role.INSTRUCTOR)
def take() -> str | tuple[str, int]:
    """Take a roster in and show its slips, this once; or say beside each row why not."""
    if the_visitor().is_open_desk:
        raise DeskError("The first account is made in a terminal on this machine: ohmbath person add.")
    file = request.files.get("roster")
    if file is None or not file.filename:
        return _page(trouble="Choose the file first."), 422
    try:
        taken = take_roster(
            the_desk().store,
            file.read(),
            the_door().passwords,
            new_slips="new_slips" in request.form,
            is_ending=streams_of(current_app).closing.is_set,
        )
    except RosterError as error:
        return _page(trouble=str(error)), 422
    if taken.is_refused:
        return _page(taken=taken), 422
    note(Deed.ROSTER_READ, taken.words)
    return _page(taken=taken)


def _page(*, taken: Taken | None = None, trouble: str = "") -> str:
    everybody = the_desk().store.people.all()
    students = [one for one in everybody if one.roles == {Role.STUDENT}]
    students.sort(key=lambda one: (one.group.casefold(), one.name.casefold()))
    return render_template(
        "roster.html",
        taken=taken,
        trouble=trouble,
        students=students,
        address=address_on_slips(request.host_url),
    )


def address_on_slips(address: str) -> str:
    """Address at which the pages were opened; empty where it would open nothing on another machine.

    A slip is carried to one.
    """
    return "" if is_loopback(urlsplit(address).hostname or "") else address
