"""Runs that everybody may begin, and of which a student opens and goes on with their own alone."""

from flask import abort

from host.people.account import name_key
from host.people.role import STAFF
from host.web.door import the_visitor


def is_theirs(operator: str) -> bool:
    """Tell whether a run of that operator is open to who asks: to the staff, and to the operator."""
    visitor = the_visitor()
    return visitor.has_one_of(STAFF) or (bool(operator) and name_key(visitor.name) == name_key(operator))


def refuse_others(operator: str, run: int) -> None:
    """Answer as if the run of somebody else were none."""
    if not is_theirs(operator):
        abort(404, description=f"There is no run {run:04d} of yours. Choose one from the list.")
