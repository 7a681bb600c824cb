"""Events of a run as the store has them."""

from collections.abc import Callable
from dataclasses import replace
from datetime import tzinfo

from host.citation import Citation
from host.errors import DeskError
from host.local_time import local_span
from host.procedures.event import Event
from host.procedures.run_kind import RunKind
from host.reason import with_printable_reason
from host.store import Store

#: A form that comes again within this time with the same in every field was sent twice. A choice of ours. [s]
SENT_TWICE_WITHIN_S = 30.0


def events_of(store: Store, run: int) -> list[Event]:
    """Events of a run, in the order in which they were appended; none where there is no such run."""
    return [Event(kind=kind, payload=payload) for kind, payload in store.runs.events(run)]


def events_of_kind(
    store: Store, run: int, kind: RunKind, *, what: str, where: str = "the list of runs"
) -> list[Event]:
    """Events of a run that must be of a kind.

    Raises
    ------
    DeskError
        If there is none of that kind and number; says ``what`` it should be, and ``where`` they are listed.
    """
    if store.runs.kind_of(run) != kind:
        raise DeskError(f"Run {run:04d} is no {what}. Choose one from {where}.")
    return events_of(store, run)


def span_of(store: Store, run: int, kind: str, zone: tzinfo | None) -> str:
    """From when to when the events of a kind came, of a run that has some."""
    times = [event.appended_utc_s for event in store.runs.timed_events(run) if event.kind == kind]
    return local_span(min(times), max(times), zone)


def append_cited(store: Store, run: int, event: Event, *, after: int) -> int:
    """Append an event to the log of a run, with the readings that its payload names cited; its index."""
    readings = event.payload.get("readings")
    cites = None if readings is None else Citation.from_json(readings)
    return store.runs.append(run, event.kind, dict(event.payload), after=after, cites=cites)


def append_pressed(
    store: Store,
    run: int,
    event: Event,
    *,
    follows: Callable[[Event], object],
    logged: int,
    after: int | None = None,
    cites: Citation | None = None,
) -> None:
    """Append what a person pressed on a page of a run, if it can follow.

    Parameters
    ----------
    store : Store
    run : int
    event : Event
        Its reason, if it has one, must be printable.
    follows : callable
        The run's procedure from where the log stands: ValueError or IndexError where the event cannot follow.
    logged : int
        Events that the log had when it was read.
    after : int, optional
        Events that the page showed on which it was pressed; by default as many as were read.
    cites : Citation, optional

    Raises
    ------
    DeskError
        If the event cannot follow: the page is older than the run.
    """
    event = replace(event, payload=with_printable_reason(event.payload))
    after = logged if after is None else after
    if after == logged:
        try:
            follows(event)
        except (ValueError, IndexError) as error:
            raise DeskError(
                f"This page is older than run {run:04d}: it has gone on meanwhile. Load it again."
            ) from error
    store.runs.append(run, event.kind, event.payload, after=after, cites=cites)
