"""Events of a run: appended, never edited, and all that its state is made of."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

State = TypeVar("State")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing that happened in a run.

    Attributes
    ----------
    kind : str
        What happened; each procedure names its own.
    payload : Mapping[str, Any]
        JSON.
    """

    kind: str
    payload: Mapping[str, Any] = field(default_factory=dict)


def led_to(
    first: State, events: Iterable[Event], advance: Callable[[State, Event], State]
) -> tuple[State, int]:
    """State that a log leads to, and how many of its events were passed over.

    An event that cannot follow changes nothing. Earlier versions could append one where a button was pressed
    twice at once; what was measured before it is still there and must stay readable.

    Parameters
    ----------
    first : State
        Before the first event.
    events : iterable of Event
    advance : callable
        State after an event; ValueError or IndexError where it cannot follow.
    """
    state, passed_over = first, 0
    for event in events:
        try:
            state = advance(state, event)
        except (ValueError, IndexError):
            passed_over += 1
    return state, passed_over
