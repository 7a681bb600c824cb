"""Rounds through the stations: begun, added to and closed, each an append-only log of events."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, tzinfo
from functools import partial
from typing import Any

from calibration.station_round import StatedValue
from host.certificates.certificate import Certificate
from host.citation import Citation
from host.errors import DeskError
from host.local_time import local_day
from host.procedures.authorisation import let_out
from host.procedures.event import Event, led_to
from host.procedures.logged import append_pressed, events_of_kind, span_of
from host.procedures.rounds.station_round import (
    MOST_ENTRIES,
    MOST_STATIONS,
    Kind,
    Source,
    StationRoundState,
    advance,
)
from host.procedures.rounds.station_round_result import certificate_of
from host.procedures.rounds.station_round_settings import StationRoundSettings
from host.procedures.run_kind import RunKind
from host.shop import Shop
from host.store import Store
from host.store.runs import EventAfter, RunWentOnError


@dataclass(frozen=True, slots=True, kw_only=True)
class NewResult:
    """A result of a station that is to be taken.

    Attributes
    ----------
    station : str
    stated : StatedValue
        [unit of the round]
    source : Source
    words : str
        How it was come by.
    run : int or None
    cites : Citation or None
    rests_on : Mapping[str, Any]
        What else it was made of, by value.
    is_simulated : bool
    """

    station: str
    stated: StatedValue
    source: Source
    words: str
    run: int | None = None
    cites: Citation | None = None
    rests_on: Mapping[str, Any] | None = None
    is_simulated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRoundView:
    """A round as a page shows it.

    Attributes
    ----------
    run : int
    state : StationRoundState
    started_utc_s : float
        [s]
    logged : int
        How many events it was made of; what is added on that page follows these.
    passed_over : int
        How many of them could not follow.
    """

    run: int
    state: StationRoundState
    started_utc_s: float
    logged: int
    passed_over: int


class StationRounds:
    """Rounds of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def start(self, settings: StationRoundSettings) -> int:
        """Begin a round; its number."""
        run = self._store.runs.create(station=None, kind=RunKind.STATION_ROUND, settings=settings.as_json())
        self._store.runs.append(run, Kind.STARTED, {"settings": settings.as_json()}, after=0)
        return run

    def take(self, run: int, result: NewResult, *, zone: tzinfo | None, after: int | None = None) -> None:
        """Keep a result of a station; whether it counts follows from when and how often it came.

        Parameters
        ----------
        run : int
        result : NewResult
        zone : tzinfo or None
        after : int, optional
            How many events the page showed on which it was taken; by default as many as there are.

        Raises
        ------
        DeskError
            If the round is over, that run was taken already, there is no room for more, or it has gone on.
        """
        view = self._open(run)
        state = view.state
        station = state.known_as(result.station)
        payload = {
            "station": station,
            "value": result.stated.value,
            "expanded_u": result.stated.expanded_u,
            "k": result.stated.k,
            "source": result.source.value,
            "words": result.words,
            "run": result.run,
            "cites": None if result.cites is None else result.cites.as_json(),
            "rests_on": dict(result.rests_on or {}),
            "late": self._is_late(state, zone),
            "simulated": result.is_simulated,
        }
        after = view.logged if after is None else after
        if after == view.logged:
            _refuse_result(state, station, result)
            advance(state, Event(kind=Kind.TAKEN, payload=payload))
        self._store.runs.append(run, Kind.TAKEN, payload, after=after, cites=result.cites)

    def answer(self, run: int, *, entry: int, counts: bool, reason: str, after: int | None = None) -> None:
        """Say whether a result counts, and why."""
        self._add(run, Kind.ANSWERED, {"entry": entry, "counts": counts, "reason": reason}, after)

    def leave_out(self, run: int, *, station: str, reason: str, after: int | None = None) -> None:
        """Leave a station out of the result."""
        self._add(run, Kind.LEFT_OUT, {"station": station, "reason": reason}, after)

    def take_back(self, run: int, *, station: str, after: int | None = None) -> None:
        """Have a station in again that was left out."""
        self._add(run, Kind.TAKEN_BACK, {"station": station}, after)

    def close(self, run: int, *, shop: Shop, zone: tzinfo | None, after: int | None = None) -> None:
        """Compare what counts and let the certificate out, or keep its draft. Once more changes nothing.

        Raises
        ------
        DeskError
            If something is missing, it was stopped, or it has gone on.
        """
        view = self.view(run)
        state = view.state
        if not state.has_paper:
            if after is not None and after != view.logged:
                raise RunWentOnError(run)
            if state.is_stopped or state.why_open:
                raise DeskError(state.why_open or f"Round {run:04d} was stopped. Start a new one.")
            measured = f"{span_of(self._store, run, Kind.TAKEN, zone)} (when the results came in)"
            issued = local_day(self._store.now(), zone)

            def of_number(number: str) -> Certificate:
                return certificate_of(
                    state, run=run, number=number, shop=shop, issued=issued, measured=measured
                )

            let_out(
                self._store,
                run,
                of_number,
                measured_by=state.started.operator,
                event=EventAfter(kind=Kind.RESULT, after=view.logged),
            )
        self._store.runs.end(run)

    def stop(self, run: int, reason: str, *, after: int | None = None) -> None:
        """Stop a round for good; stopping it again changes nothing."""
        if not self.view(run).state.is_over:
            self._add(run, Kind.STOPPED, {"reason": reason}, after)
            self._store.runs.end(run)

    def view(self, run: int) -> StationRoundView:
        """A round, open or over.

        Raises
        ------
        DeskError
            If there is none of that number.
        """
        events = events_of_kind(
            self._store, run, RunKind.STATION_ROUND, what="round", where="the list of rounds"
        )
        state, passed_over = led_to(StationRoundState(), events, advance)
        return StationRoundView(
            run=run,
            state=state,
            started_utc_s=self._store.runs.get(run).started_utc_s,
            logged=len(events),
            passed_over=passed_over,
        )

    def all(self) -> list[tuple[int, str, bool]]:
        """Number, artefact, and whether it is open, of every round, the newest first."""
        return [
            (run.number, str(run.settings.get("item", "")), run.ended_utc_s is None)
            for run in reversed(self._store.runs.of_kind(RunKind.STATION_ROUND))
        ]

    def _add(self, run: int, kind: Kind, payload: Mapping[str, Any], after: int | None) -> None:
        view = self._open(run)
        append_pressed(
            self._store,
            run,
            Event(kind=kind, payload=payload),
            follows=partial(advance, view.state),
            logged=view.logged,
            after=after,
        )

    def _is_late(self, state: StationRoundState, zone: tzinfo | None) -> bool:
        last = state.started.read_by
        return bool(last) and local_day(self._store.now(), zone) > date.fromisoformat(last)

    def _open(self, run: int) -> StationRoundView:
        view = self.view(run)
        if view.state.is_over:
            raise DeskError(f"Round {run:04d} is over: what comes now belongs into a new one.")
        return view


def _refuse_result(state: StationRoundState, station: str, result: NewResult) -> None:
    if result.run is not None and any(entry.run == result.run for entry in state.entries):
        raise DeskError(f"Run {result.run:04d} was taken already: it stands in the list.")
    if result.run is not None and result.run == state.started.reference_run:
        raise DeskError(
            f"Run {result.run:04d} is the reference itself: measure the sender there once more, or leave "
            "that station out."
        )
    if len({*state.stations, station}) > MOST_STATIONS or len(state.entries) >= MOST_ENTRIES:
        raise DeskError(
            f"A round has room for {MOST_STATIONS} stations and {MOST_ENTRIES} results. Close this one and "
            "begin another."
        )
