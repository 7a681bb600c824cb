"""Simulated hands at the bath of a check that is no run of its station."""

from host.errors import DeskError
from host.web.desk_behind import DeskBehind, Hands


def hands_at_bath(desk: DeskBehind, station: str, *, simulated: bool) -> Hands | None:
    """Hands that a page offers; None where the bath is real, or no station's."""
    return desk.hands if simulated and station else None


def refuse_hands_at_a_run(desk: DeskBehind, station: str) -> None:
    """Leave a bench alone that a run has.

    Raises
    ------
    DeskError
        If the station is at an open run.
    """
    busy = desk.runs.open_run_of(station)
    if busy is not None:
        raise DeskError(
            f"{station} is busy with run {busy:04d}: no hand touches that bench until it is over."
        )
