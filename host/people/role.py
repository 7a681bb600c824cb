"""Roles at the desk."""

from enum import StrEnum


class Role(StrEnum):
    """What a person does here, and with it what the desk lets them do.

    A person may have several.
    """

    TECHNICIAN = "technician"  # runs checks, keeps the register
    AUTHORISER = "authoriser"  # lets certificates out of the shop
    INSTRUCTOR = "instructor"  # runs a room of stations and keeps the people
    STUDENT = "student"  # runs checks and answers, sees nothing that was planted


#: Everybody who runs checks for the shop.
STAFF = frozenset({Role.TECHNICIAN, Role.AUTHORISER, Role.INSTRUCTOR})
#: Everybody who has signed in.
ALL_ROLES = frozenset(Role)
