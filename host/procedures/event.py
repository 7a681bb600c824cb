"""Events of a run: appended, never edited, and all that its state is made of."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


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
