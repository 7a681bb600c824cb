"""Runs, and the log of events that each of them is."""

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, select, update

from host.certificates.settings_on_paper import refuse_unprintable_settings
from host.citation import Citation
from host.errors import DeskError
from host.store import schema
from host.store.counters import count_up
from host.store.engine import Database
from host.store.stations import UnknownStationError, rigs_of
from host.store.watermark import watermark


class UnknownRunError(DeskError):
    """A run that does not exist, or has ended where an open one is needed."""


class RunWentOnError(DeskError):
    """An event that was meant to follow an earlier state of a run than the one it is in by now.

    Two presses of one button, two tabs or two people: whoever comes second has not seen what the first did.
    """

    def __init__(self, run: int) -> None:
        super().__init__(
            f"Run {run:04d} has gone on meanwhile: the same button was pressed twice, or somebody else is at "
            "it. Nothing was added this time. Look at its page as it stands now, then go on from there."
        )


class NotStoredYetError(DeskError):
    """An event that cites readings of which some may still arrive or be lost.

    Attributes
    ----------
    citation : Citation
        What it cites.
    watermark : int
        How far the readings of that boot are accounted for.
    """

    def __init__(self, citation: Citation, stored_to: int) -> None:
        super().__init__(
            f"Readings {citation.first} to {citation.last} of boot {citation.boot} at station "
            f"{citation.station} are stored up to {stored_to} only: wait for the rest."
        )
        self.citation = citation
        self.watermark = stored_to


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One execution of a procedure on one item at one station.

    Attributes
    ----------
    number : int
        Its number, from 1.
    station : str or None
        Where; None where a person reads and types, without a rig.
    kind : str
        Of what kind.
    settings : Mapping[str, Any]
        As it was started.
    started_utc_s, ended_utc_s : float, float or None
        Times; no end while it is open. [s]
    """

    number: int
    station: str | None
    kind: str
    settings: Mapping[str, Any]
    started_utc_s: float
    ended_utc_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedEvent:
    """An event with the time at which it was appended, by the desk's clock. [s]"""

    kind: str
    payload: Mapping[str, Any]
    appended_utc_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EventAfter:
    """An event that is to be appended in a transaction of somebody else's, right after another.

    Attributes
    ----------
    kind : str
    after : int
        How many events the run had when the state was read from which this one follows.
    """

    kind: str
    after: int


class Runs:
    """Runs and their events."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def create(
        self,
        *,
        station: str | None,
        kind: str,
        settings: Mapping[str, Any],
        same_within_s: float | None = None,
    ) -> int:
        """Open a run, at a station or at none, and return its number.

        Parameters
        ----------
        station : str or None
        kind : str
        settings : Mapping[str, Any]
        same_within_s : float, optional
            A run of this kind with these very settings that was opened no longer ago than this is returned
            in place of a new one: a form that was sent twice is one run. [s]

        Raises
        ------
        UnknownStationError
            If the station was never added.
        DeskError
            If the settings hold a text that no certificate can print.
        """
        refuse_unprintable_settings(settings)
        with self._database.writing() as connection:
            if station is not None and station not in rigs_of(connection):
                raise UnknownStationError(station)
            if same_within_s is not None:
                same = _same_run(connection, kind, to_json(settings), self._now() - same_within_s)
                if same is not None:
                    return same
            number = count_up(connection, "run")
            connection.execute(
                schema.runs.insert().values(
                    run=number,
                    station=station,
                    kind=kind,
                    settings=to_json(settings),
                    started_utc_s=self._now(),
                    ended_utc_s=None,
                )
            )
        return number

    def append(
        self,
        run: int,
        kind: str,
        payload: Mapping[str, Any],
        *,
        after: int,
        cites: Citation | None = None,
    ) -> int:
        """Append an event and return its index in the run, from 1.

        An event that stands at that place already in the same words is not written again: a press that
        comes twice changes nothing.

        Parameters
        ----------
        run : int
        kind : str
        payload : Mapping[str, Any]
        after : int
            How many events the run had when the state was read from which this one follows.
        cites : Citation, optional

        Raises
        ------
        UnknownRunError
            If there is no such run.
        RunWentOnError
            If the run has other events than that by now.
        NotStoredYetError
            If it cites readings above the watermark.
        """
        with self._database.writing() as connection:
            if cites is not None:
                stored_to = watermark(connection, cites.station, cites.boot)
                if stored_to < cites.last:
                    raise NotStoredYetError(cites, stored_to)
            return append_event(connection, run, kind, payload, self._now(), after=after)

    def events(self, run: int) -> list[tuple[str, dict[str, Any]]]:
        """Events of a run as (kind, payload), in the order in which they were appended."""
        return [(event.kind, dict(event.payload)) for event in self.timed_events(run)]

    def timed_events(self, run: int) -> list[TimedEvent]:
        """Events of a run with their times, in the order in which they were appended."""
        table = schema.events
        query = select(table).where(table.c.run == run).order_by(table.c.index)
        with self._database.reading() as connection:
            return [
                TimedEvent(kind=row.kind, payload=json.loads(row.payload), appended_utc_s=row.appended_utc_s)
                for row in connection.execute(query)
            ]

    def end(self, run: int) -> None:
        """Close a run; closing it again changes nothing."""
        table = schema.runs
        with self._database.writing() as connection:
            connection.execute(
                update(table)
                .where(table.c.run == run, table.c.ended_utc_s.is_(None))
                .values(ended_utc_s=self._now())
            )

    def get(self, run: int) -> Run:
        """Return one run.

        Raises
        ------
        UnknownRunError
            If there is no such run.
        """
        with self._database.reading() as connection:
            row = connection.execute(select(schema.runs).where(schema.runs.c.run == run)).one_or_none()
        if row is None:
            raise UnknownRunError(f"There is no run {run}.")
        return _run(row)

    def kind_of(self, run: int) -> str | None:
        """Kind of a run, None where there is none of that number."""
        query = select(schema.runs.c.kind).where(schema.runs.c.run == run)
        with self._database.reading() as connection:
            return connection.execute(query).scalar_one_or_none()

    def open(self, kind: str | None = None) -> list[Run]:
        """Runs that have not ended, of one kind or of all; oldest first."""
        query = select(schema.runs).where(schema.runs.c.ended_utc_s.is_(None)).order_by(schema.runs.c.run)
        if kind is not None:
            query = query.where(schema.runs.c.kind == kind)
        with self._database.reading() as connection:
            return [_run(row) for row in connection.execute(query)]

    def newest_ended(self) -> list[Run]:
        """The run of each station that was begun last of those that have ended."""
        table = schema.runs
        newest = (
            select(func.max(table.c.run))
            .where(table.c.ended_utc_s.is_not(None), table.c.station.is_not(None))
            .group_by(table.c.station)
        )
        query = select(table).where(table.c.run.in_(newest)).order_by(table.c.run)
        with self._database.reading() as connection:
            return [_run(row) for row in connection.execute(query)]

    def newest_events_utc_s(self) -> dict[int, float]:
        """When the newest event of each open run was appended. [s]"""
        events, runs = schema.events, schema.runs
        query = (
            select(events.c.run, func.max(events.c.appended_utc_s).label("newest"))
            .where(events.c.run.in_(select(runs.c.run).where(runs.c.ended_utc_s.is_(None))))
            .group_by(events.c.run)
        )
        with self._database.reading() as connection:
            return {row.run: row.newest for row in connection.execute(query)}

    def of_kind(self, *kinds: str) -> list[Run]:
        """Runs of one kind or of several, oldest first."""
        query = select(schema.runs).where(schema.runs.c.kind.in_(kinds)).order_by(schema.runs.c.run)
        with self._database.reading() as connection:
            return [_run(row) for row in connection.execute(query)]

    def all(self) -> list[Run]:
        """All runs, oldest first."""
        with self._database.reading() as connection:
            return [_run(row) for row in connection.execute(select(schema.runs).order_by(schema.runs.c.run))]


def append_event(
    connection: Connection,
    run: int,
    kind: str,
    payload: Mapping[str, Any],
    at_utc_s: float,
    *,
    after: int,
) -> int:
    """Append an event inside the caller's transaction, right after the event ``after``; see `Runs.append`."""
    require_run(connection, run)
    table, index, text = schema.events, after + 1, to_json(payload)
    last = connection.execute(select(func.max(table.c.index)).where(table.c.run == run)).scalar_one() or 0
    if last < after:
        raise RunWentOnError(run)
    if last > after:
        there = connection.execute(
            select(table.c.kind, table.c.payload).where(table.c.run == run, table.c.index == index)
        ).one_or_none()
        if there is None or (there.kind, there.payload) != (kind, text):
            raise RunWentOnError(run)
        return index
    connection.execute(
        table.insert().values(run=run, index=index, kind=kind, payload=text, appended_utc_s=at_utc_s)
    )
    return index


def require_run(connection: Connection, run: int) -> None:
    """Make sure that a run exists.

    Raises
    ------
    UnknownRunError
        If there is no such run.
    """
    known = connection.execute(select(schema.runs.c.run).where(schema.runs.c.run == run)).scalar_one_or_none()
    if known is None:
        raise UnknownRunError(f"There is no run {run}: nothing can be written to it.")


def to_json(value: Mapping[str, Any]) -> str:
    """JSON text that gives every number back; NaN and Infinity are refused."""
    return json.dumps(dict(value), ensure_ascii=False, allow_nan=False)


def _same_run(connection: Connection, kind: str, settings: str, since_utc_s: float) -> int | None:
    table = schema.runs
    same: int | None = connection.execute(
        select(func.max(table.c.run)).where(
            table.c.kind == kind, table.c.settings == settings, table.c.started_utc_s >= since_utc_s
        )
    ).scalar_one()
    return same


def _run(row: Row[Any]) -> Run:
    return Run(
        number=row.run,
        station=row.station,
        kind=row.kind,
        settings=json.loads(row.settings),
        started_utc_s=row.started_utc_s,
        ended_utc_s=row.ended_utc_s,
    )
