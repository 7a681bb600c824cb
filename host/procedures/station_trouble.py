"""What is wrong with a station just now, as the step card of its run says it."""

from host.live import Live

# Wall time without a reading after which the card speaks of it.
_SILENT_S = 6.0


def station_trouble(live: Live, station: str) -> str | None:
    """Trouble of a station in words, None where there is none."""
    heard = live.station(station)
    if heard is None or heard.latest is None:
        return f"{station} has sent no reading yet: switch the rig on."
    if heard.silent_for_s is None or heard.silent_for_s > _SILENT_S:
        gone = "" if heard.silent_for_s is None else f" for {heard.silent_for_s:.0f} s"
        return f"No reading from {station}{gone}: check the rig's power and network."
    return " ".join(heard.trouble) or None
