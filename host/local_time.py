"""UTC seconds as the clock on the shop's wall shows them."""

from datetime import date, datetime, tzinfo


def local_time(utc_s: float, zone: tzinfo | None) -> str:
    """Date and time to the minute; ``zone`` None is the machine's own."""
    return _moment(utc_s, zone).strftime("%Y-%m-%d %H:%M")


def local_day(utc_s: float, zone: tzinfo | None) -> date:
    """Day in the shop."""
    return _moment(utc_s, zone).date()


def _moment(utc_s: float, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(utc_s, zone).astimezone(zone)
