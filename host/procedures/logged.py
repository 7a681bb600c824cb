"""Events of a run as the store has them."""

from host.citation import Citation
from host.procedures.event import Event
from host.store import Store

#: A form that comes again within this time with the same in every field was sent twice. [s]
SENT_TWICE_WITHIN_S = 30.0


def events_of(store: Store, run: int) -> list[Event]:
    """Events of a run, in the order in which they were appended; none where there is no such run."""
    return [Event(kind=kind, payload=payload) for kind, payload in store.runs.events(run)]


def append_cited(store: Store, run: int, event: Event, *, after: int) -> int:
    """Append an event to the log of a run, with the readings that its payload names cited; its index."""
    readings = event.payload.get("readings")
    cites = None if readings is None else Citation.from_json(readings)
    return store.runs.append(run, event.kind, dict(event.payload), after=after, cites=cites)
