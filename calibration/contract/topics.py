"""Topics and station names, known to both ends of the wire."""

import re

CONTRACT = 1

_STATION = re.compile(r"[a-z0-9][a-z0-9-]{0,31}")
_BOOT = re.compile(r"[0-9]{8}-[0-9a-f]{8}")

KINDS = ("readings", "presence", "orders", "answers", "stored")
RETAINED_KINDS = ("presence", "stored")

MAX_MESSAGE_BYTES = 64 * 1024


def is_station(text: str) -> bool:
    """Tell whether ``text`` may name a station: ``[a-z0-9][a-z0-9-]{0,31}``."""
    return _STATION.fullmatch(text) is not None


def is_boot(text: str) -> bool:
    """Tell whether ``text`` is a boot: eight digits, a dash, eight hex digits."""
    return _BOOT.fullmatch(text) is not None


def topic(station: str, kind: str) -> str:
    """Topic of one kind of message at one station.

    Parameters
    ----------
    station : str
        Station id, or ``+`` to subscribe to all of them.
    kind : str
        One of `KINDS`.

    Raises
    ------
    ValueError
        If either is not of the contract.
    """
    if station != "+" and not is_station(station):
        raise ValueError(f"{station!r} is not a station id: use 1 to 32 of a-z, 0-9 and '-'.")
    if kind not in KINDS:
        raise ValueError(f"{kind!r} is not a kind of message: use one of {', '.join(KINDS)}.")
    return f"ohmbath/{CONTRACT}/{station}/{kind}"


def station_and_kind(topic_text: str) -> tuple[str, str] | None:
    """Station and kind of a topic, or None where it is not of this contract."""
    parts = topic_text.split("/")
    if len(parts) != 4 or parts[0] != "ohmbath" or parts[1] != str(CONTRACT):
        return None
    if not is_station(parts[2]) or parts[3] not in KINDS:
        return None
    return parts[2], parts[3]
