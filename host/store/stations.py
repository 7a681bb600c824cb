"""The stations of a desk, each tied to one rig."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import Connection, select, update

from calibration.contract.topics import is_station
from host.errors import DeskError
from host.store.engine import Database
from host.store.schema import stations


class StationNameError(DeskError):
    """A name that cannot name a station, or is taken."""


class UnknownStationError(DeskError):
    """A station that was never added."""

    def __init__(self, station: str) -> None:
        super().__init__(
            f"There is no station {station!r} here: add it with 'ohmbath station add {station}'."
        )
        self.station = station


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One station.

    Attributes
    ----------
    station : str
        Its id.
    rig : str or None
        Rig it is tied to, None until first contact.
    added_utc_s : float
        When it was added. [s]
    copied : str or None
        Words, while two live boots speak under its rig's id.
    replaces_store : str or None
        Another desk's store whose last word on this station's topic is written over.
    """

    station: str
    rig: str | None
    added_utc_s: float
    copied: str | None = None
    replaces_store: str | None = None


class Stations:
    """Stations table."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, station: str) -> Station:
        """Add a station; its rig is the first one that speaks under that name.

        Raises
        ------
        StationNameError
            If the name is no station id or is taken.
        """
        if not is_station(station):
            raise StationNameError(
                f"{station!r} cannot name a station: use 1 to 32 of a-z, 0-9 and '-', not beginning with '-'."
            )
        with self._database.writing() as connection:
            if station in rigs_of(connection):
                raise StationNameError(f"There is a station {station!r} already: choose another name.")
            added = Station(station=station, rig=None, added_utc_s=self._now())
            connection.execute(
                stations.insert().values(station=station, rig=None, added_utc_s=added.added_utc_s)
            )
        return added

    def all(self) -> list[Station]:
        """All stations, by name."""
        with self._database.reading() as connection:
            rows = connection.execute(select(stations).order_by(stations.c.station)).all()
        return [
            Station(
                station=row.station,
                rig=row.rig,
                added_utc_s=row.added_utc_s,
                copied=row.copied,
                replaces_store=row.replaces_store,
            )
            for row in rows
        ]

    def get(self, station: str) -> Station:
        """Return one station.

        Raises
        ------
        UnknownStationError
            If it was never added.
        """
        for candidate in self.all():
            if candidate.station == station:
                return candidate
        raise UnknownStationError(station)

    def meet(self, station: str, rig: str) -> str | None:
        """Tie ``station`` to ``rig`` at first contact; return the rig it is tied to, None if unknown."""
        with self._database.writing() as connection:
            rigs = rigs_of(connection)
            if station not in rigs:
                return None
            return rigs[station] or bind(connection, station, rig)

    def note_copied(self, station: str, words: str) -> None:
        """Remember that two live boots speak under the id of a station's rig."""
        self._set(station, copied=words)

    def join_anew(self, station: str) -> None:
        """Let a station go from its rig: the next one that speaks under its name is tied to it.

        Raises
        ------
        UnknownStationError
            If it was never added.
        """
        self.get(station)
        self._set(station, rig=None, copied=None)

    def replace_store(self, station: str, other_store: str) -> None:
        """Write over what another desk, gone for good, said last on a station's topic.

        Raises
        ------
        UnknownStationError
            If it was never added.
        """
        self.get(station)
        self._set(station, replaces_store=other_store)

    def _set(self, station: str, **values: str | None) -> None:
        with self._database.writing() as connection:
            connection.execute(update(stations).where(stations.c.station == station).values(**values))


_RIGS = select(stations.c.station, stations.c.rig)


def rigs_of(connection: Connection) -> dict[str, str | None]:
    """Rig of each known station."""
    return {station: rig for station, rig in connection.execute(_RIGS)}


_COPIED = select(stations.c.station).where(stations.c.copied.is_not(None))


def copied_of(connection: Connection) -> set[str]:
    """Stations of which two live boots speak under one rig id."""
    return {station for (station,) in connection.execute(_COPIED)}


def bind(connection: Connection, station: str, rig: str) -> str:
    """Tie a station to a rig, inside the caller's transaction."""
    connection.execute(update(stations).where(stations.c.station == station).values(rig=rig))
    return rig
