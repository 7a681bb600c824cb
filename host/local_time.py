"""UTC seconds as the clock on the shop's wall shows them."""

from datetime import date, datetime, timedelta, tzinfo


def local_time(utc_s: float, zone: tzinfo | None) -> str:
    """Date and time to the minute with the offset from UTC; ``zone`` None is the machine's own."""
    moment = _moment(utc_s, zone)
    return f"{moment:%Y-%m-%d %H:%M} {_offset(moment)}"


def local_span(first_utc_s: float, last_utc_s: float, zone: tzinfo | None) -> str:
    """From when to when; the offset once where it did not change meanwhile."""
    first, last = _moment(first_utc_s, zone), _moment(last_utc_s, zone)
    began = f"{first:%Y-%m-%d %H:%M}"
    if _offset(first) != _offset(last):
        began = f"{began} {_offset(first)}"
    return f"{began} to {last:%Y-%m-%d %H:%M} {_offset(last)}"


def local_day(utc_s: float, zone: tzinfo | None) -> date:
    """Day in the shop."""
    return _moment(utc_s, zone).date()


def _moment(utc_s: float, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(utc_s, zone).astimezone(zone)


def _offset(moment: datetime) -> str:
    """Offset as it is written after a time: UTC, UTC+01:00."""
    ahead = moment.utcoffset() or timedelta()
    return f"UTC{moment.isoformat()[-6:]}" if ahead else "UTC"
