"""When an instrument is due: by its certificate, else by the shop's own interval, else never."""

import calendar
from collections.abc import Mapping
from datetime import date
from typing import Any

from host.store.register_entry import Instrument


def due_date(instrument: Instrument, months_by_kind: Mapping[str, int]) -> date | None:
    """Day on which an instrument is due; None where neither certificate nor shop sets one."""
    return due_of(instrument.content, months_by_kind)


def due_of(content: Mapping[str, Any], months_by_kind: Mapping[str, int]) -> date | None:
    """The same of the content of its certificate, as a run keeps it."""
    due, months = content.get("due"), months_by_kind.get(str(content["kind"]))
    if due is not None:
        return date.fromisoformat(str(due))
    return None if months is None else months_later(date.fromisoformat(str(content["issued"])), months)


def months_later(day: date, months: int) -> date:
    """Same day of the month so many months later, the last one where that month is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
