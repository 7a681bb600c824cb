"""Newest readings of a station where they are of now: what a silent rig said last is of then."""

from calibration.contract.readings import ReadingPack
from host.errors import DeskError
from host.live import CATCHING_UP_FROM, SILENT_AFTER_S, Live, StationLive, StationState
from host.store import Store


def not_of_now(live: StationLive | None) -> str:
    """Why the newest reading of a station is not of now, in words; empty where it is."""
    if live is None:
        return "This desk knows no such station: look at the list of stations."
    if live.state is not StationState.LIVE:
        said = live.words
    elif live.newest_age_s is None:
        said = "live, but has sent no reading since this desk was started"
    elif live.newest_age_s > SILENT_AFTER_S:
        said = f"live, but has sent no reading for {live.newest_age_s:.0f} s"
    elif live.to_go >= CATCHING_UP_FROM:
        said = f"{live.words}: what comes in now was read earlier"
    else:
        return ""
    return (
        f"{live.station} is {said}. What it said last is not of now, and nothing is read from it. Look at "
        "its light and its plug, and wait until it is live."
    )


def readings_of_now(store: Store, live: Live, station: str, count: int) -> list[ReadingPack]:
    """Newest readings of a station that speaks, oldest first.

    Parameters
    ----------
    store, live : Store, Live
    station : str
    count : int
        How many at most.

    Raises
    ------
    DeskError
        If its rig is silent or gone, sends no readings, or is still sending old ones.
    """
    refusal = not_of_now(live.station(station))
    if refusal:
        raise DeskError(refusal)
    return store.packs.recent(station, count)
