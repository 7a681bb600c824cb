"""UTC seconds as the clock on the shop's wall shows them."""

import zoneinfo
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo


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


def local_second(utc_s: float, zone: tzinfo | None) -> str:
    """Date and time to the second with the offset from UTC."""
    moment = _moment(utc_s, zone)
    return f"{moment:%Y-%m-%d %H:%M:%S} {_offset(moment)}"


def zone_to_keep(name: str, utc_s: float) -> str:
    """The shop's zone as a run keeps it: its name, or else the machine's offset at that time."""
    return name or _offset(_moment(utc_s, None))


def kept_zone(text: str) -> tzinfo:
    """Zone of what a run has kept."""
    if not text.startswith("UTC"):
        return zoneinfo.ZoneInfo(text)
    sign, hours, minutes = text[3:4], text[4:6], text[7:9]
    if not sign:
        return UTC
    offset = timedelta(hours=int(hours), minutes=int(minutes))
    return timezone(-offset if sign == "-" else offset)


def local_day(utc_s: float, zone: tzinfo | None) -> date:
    """Day in the shop."""
    return _moment(utc_s, zone).date()


def _moment(utc_s: float, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(utc_s, zone).astimezone(zone)


def _offset(moment: datetime) -> str:
    """Offset as it is written after a time: UTC, UTC+01:00."""
    ahead = moment.utcoffset() or timedelta()
    return f"UTC{moment.isoformat()[-6:]}" if ahead else "UTC"
