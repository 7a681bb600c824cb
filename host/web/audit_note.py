"""One line in the audit list, in the name of who is asking."""

from host.people.account import roles_text
from host.people.deed import Deed
from host.web.desk_behind import the_desk
from host.web.door import the_visitor

_LONGEST_SUBJECT = 200


def note(deed: Deed, subject: str) -> None:
    """Write down that this page's visitor did something.

    Parameters
    ----------
    deed : Deed
    subject : str
        What it was done to: "run 0003", "Ida Marsh: technician".
    """
    visitor = the_visitor()
    role = "open desk" if visitor.is_open_desk else roles_text(visitor.roles)
    the_desk().store.audit.add(deed, person=visitor.name, role=role, subject=subject[:_LONGEST_SUBJECT])
