"""The day it is at the shop, by which certificates fall due."""

from datetime import date

from flask import g

from host.local_time import local_day
from host.web.desk_behind import the_desk


def shop_day() -> date:
    """Day at the desk, in the time zone of its settings."""
    return local_day(the_desk().store.now(), g.settings.zone)
