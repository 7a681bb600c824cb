"""Who did what: the audit list, the newest first."""

from flask import Blueprint, render_template, request

from host.people.role import Role
from host.web.desk_behind import the_desk
from host.web.number_in_form import number_of
from host.web.rules import allowed

audit_pages = Blueprint("audit", __name__)

LINES_A_PAGE = 100


@audit_pages.get("/audit")
@allowed(Role.AUTHORISER, Role.INSTRUCTOR)
def index() -> str:
    """One page of the list; ``after=N`` leaves out the newest N lines."""
    audit = the_desk().store.audit
    count = audit.count()
    after = min(max(0, request.args.get("after", 0, type=number_of)), count)
    return render_template(
        "audit.html",
        entries=audit.newest(LINES_A_PAGE, after=after),
        newer=max(0, after - LINES_A_PAGE) if after else None,
        older=after + LINES_A_PAGE if after + LINES_A_PAGE < count else None,
    )
