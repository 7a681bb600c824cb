"""The ohms check alone as a pure procedure: ``advance(state, event) -> state``.

The rig warms up, the decade box is put through its values on every range, each range is judged. What was
decided live (a setting read, the ranges passed) is an event and is not decided again on replay.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import tzinfo
from enum import StrEnum
from typing import Any, Self

from host.citation import Citation
from host.local_time import kept_zone
from host.procedures.event import Event
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.sender.sender_check_settings import PROBE_RANGE_OHM, SENDER_RANGES_OHM


class Phase(StrEnum):
    """Where an ohms check stands."""

    WARMING_UP = "warming_up"
    READING = "reading"
    LEAVING = "leaving"  # passed, and the box is still in the place of the sender or the probe
    DONE = "done"
    STOPPED = "stopped"


class Kind(StrEnum):
    """Events of an ohms check."""

    STARTED = "started"  # settings, plan
    WARMED_UP = "warmed_up"  # boot, seq: a person says so
    BOX_READ = "box_read"  # setting of the plan, and the readings that hold it
    OHMS_CHECKED = "ohms_checked"  # what was found on each range
    BOX_TAKEN_OUT = "box_taken_out"  # the bench is as it was before
    STOPPED = "stopped"  # reason


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmsCheckSettings:
    """How an ohms check was started, by value.

    Attributes
    ----------
    station, operator : str
    decade_box : Mapping[str, Any]
        Snapshot of the register.
    sender_ranges_ohm : tuple[float, ...]
        Ranges of the sender channel to be checked: those that a sender check uses. [Ω]
    probe_range_ohm : float
        Range of the probe channel. [Ω]
    time_zone : str
        The shop's when it began, by name or offset.
    """

    station: str
    operator: str
    decade_box: Mapping[str, Any]
    sender_ranges_ohm: tuple[float, ...] = SENDER_RANGES_OHM
    probe_range_ohm: float = PROBE_RANGE_OHM
    time_zone: str = "UTC"

    @property
    def item(self) -> str:
        """As the list of runs names it."""
        return f"resistance channels of {self.station}"

    @property
    def zone(self) -> tzinfo:
        """Zone in which times are said."""
        return kept_zone(self.time_zone)

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return {"item": self.item, **asdict(self)}

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Self:
        """From the first event."""
        kept = {one.name: content[one.name] for one in fields(cls) if one.name in content}
        return cls(**{**kept, "sender_ranges_ohm": tuple(kept["sender_ranges_ohm"])})


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmsCheckState:
    """All there is to know of an ohms check; made of its events alone.

    Attributes
    ----------
    settings : OhmsCheckSettings or None
        None before the first event.
    plan : tuple[BoxSetting, ...]
        Settings of the decade box, in order.
    box_read : tuple[Citation, ...]
        Readings of the first settings of the plan.
    look_from : tuple[str, int] or None
        (boot, seq) behind which readings count for what comes next.
    reason : str or None
        Why it stopped.
    """

    settings: OhmsCheckSettings | None = None
    phase: Phase = Phase.WARMING_UP
    plan: tuple[BoxSetting, ...] = ()
    box_read: tuple[Citation, ...] = ()
    look_from: tuple[str, int] | None = None
    reason: str | None = None

    @property
    def started(self) -> OhmsCheckSettings:
        """Settings of a check that has begun."""
        if self.settings is None:
            raise ValueError("This check has no first event: it was never started.")
        return self.settings

    @property
    def next_setting(self) -> BoxSetting | None:
        """Next setting of the decade box, or None where all are read."""
        done = len(self.box_read)
        return self.plan[done] if done < len(self.plan) else None

    @property
    def has_passed(self) -> bool:
        """Whether every range was read and is within its limit."""
        return self.phase in (Phase.LEAVING, Phase.DONE)

    @property
    def is_over(self) -> bool:
        """True where nothing more will happen."""
        return self.phase in (Phase.DONE, Phase.STOPPED)


_FOLLOWS: Mapping[Phase, frozenset[Kind]] = {
    Phase.WARMING_UP: frozenset({Kind.STARTED, Kind.WARMED_UP, Kind.STOPPED}),
    Phase.READING: frozenset({Kind.BOX_READ, Kind.OHMS_CHECKED, Kind.STOPPED}),
    Phase.LEAVING: frozenset({Kind.BOX_TAKEN_OUT}),
    Phase.DONE: frozenset(),
    Phase.STOPPED: frozenset(),
}


def advance(state: OhmsCheckState, event: Event) -> OhmsCheckState:
    """State after an event.

    Raises
    ------
    ValueError
        If the event cannot follow: a fault of the program, not of the bench.
    """
    kind, payload = Kind(event.kind), event.payload
    if kind not in _FOLLOWS[state.phase] or (kind is Kind.STARTED) != (state.settings is None):
        raise ValueError(f"{kind.value} cannot follow in an ohms check that is {state.phase.value}")
    match kind:
        case Kind.STARTED:
            return replace(
                state,
                settings=OhmsCheckSettings.from_json(payload["settings"]),
                plan=tuple(BoxSetting.from_json(setting) for setting in payload["plan"]),
            )
        case Kind.WARMED_UP:
            return replace(state, phase=Phase.READING, look_from=(payload["boot"], int(payload["seq"])))
        case Kind.BOX_READ:
            if state.next_setting is None:
                raise ValueError("Every setting of this check is read.")
            cited = Citation.from_json(payload["readings"])
            return replace(state, box_read=(*state.box_read, cited), look_from=(cited.boot, cited.last))
        case Kind.OHMS_CHECKED:
            if state.next_setting is not None:
                raise ValueError("Settings of this check are not read yet.")
            return replace(state, phase=Phase.LEAVING)
        case Kind.BOX_TAKEN_OUT:
            return replace(state, phase=Phase.DONE)
        case Kind.STOPPED:
            return replace(state, phase=Phase.STOPPED, reason=payload["reason"])


def state_of(events: Iterable[Event]) -> OhmsCheckState:
    """State that a log of events leads to."""
    state = OhmsCheckState()
    for event in events:
        state = advance(state, event)
    return state
