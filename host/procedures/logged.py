"""Events of a run as the store has them."""

from host.procedures.event import Event
from host.store import Store


def events_of(store: Store, run: int) -> list[Event]:
    """Events of a run, in the order in which they were appended; none where there is no such run."""
    return [Event(kind=kind, payload=payload) for kind, payload in store.runs.events(run)]
