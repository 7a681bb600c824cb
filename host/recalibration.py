"""When an instrument is due: by its certificate, else by the shop's own interval, else never."""

import calendar
from collections.abc import Mapping
from datetime import date

from host.store.register import Instrument


def due_date(instrument: Instrument, months_by_kind: Mapping[str, int]) -> date | None:
    """Day on which an instrument is due; None where neither certificate nor shop sets one."""
    months = months_by_kind.get(instrument.kind)
    if instrument.due is not None or months is None:
        return instrument.due
    return months_later(date.fromisoformat(str(instrument.content["issued"])), months)


def months_later(day: date, months: int) -> date:
    """Same day of the month so many months later, the last one where that month is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
