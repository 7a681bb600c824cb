"""Simulated hands sent to the bath of a station that is at no run."""

from host.errors import DeskError
from host.web.desk_behind import DeskBehind


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
