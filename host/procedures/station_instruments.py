"""Instruments of the register on which a run at a station may rest, by value."""

from collections.abc import Mapping
from typing import Any

from calibration.contract.readings import ReadingPack
from host.errors import DeskError
from host.local_time import local_day
from host.store import Store


def certified(store: Store, kind: str, station: str) -> Mapping[str, Any]:
    """Snapshot of the instrument of a station.

    Raises
    ------
    DeskError
        If there is none on which anything may rest.
    """
    settings = store.settings.read()
    today = local_day(store.now(), settings.zone)
    usable = store.register.usable(
        kind, today=today, months_by_kind=settings.recalibration_months, station=station
    )
    return dict(usable.content)


def of_this_world(instrument: Mapping[str, Any], latest: ReadingPack) -> Mapping[str, Any]:
    """Instrument for a station.

    Raises
    ------
    DeskError
        If it exists in simulation only and the station does not.
    """
    if instrument.get("simulated", False) and not latest.simulated:
        raise DeskError(
            f"{instrument['serial']} of the register exists in simulation only; {latest.station} is real. "
            "Add the certificate of the real instrument to the register."
        )
    return instrument


def is_simulated_station(store: Store, station: str) -> bool:
    """Whether the newest reading of a station came of simulated silicon."""
    return any(pack.simulated for pack in store.packs.recent(station, 1))
