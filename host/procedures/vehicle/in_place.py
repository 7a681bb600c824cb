"""The comparison on the vehicle as a pure procedure: ``advance(state, event) -> state``.

Scan data, gauge and infrared spots are read within a minute of each other; the decade box then stands in
at the connectors. A person reads and types; what was typed is kept, and what was made of it (corrected, with
its uncertainty) was decided when it was typed and is not decided again.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from typing import Any

from calibration.curves import ReferenceCurve, curve_from_toml
from calibration.vehicle.in_place import InPlaceReading, Thermostat, Where
from calibration.vehicle.shown_value import Display, Place, ShownValue
from host.procedures.event import Event, led_to

#: Raised whenever code changes a number that a record depends on.
METHOD_VERSION = "2"


class Step(StrEnum):
    """What is asked for, in this order."""

    THERMOSTAT = "thermostat"
    SCAN_DATA = "scan_data"
    GAUGE = "gauge"
    HEAD = "head"
    OUTLET_HOSE = "outlet_hose"
    RETURN_HOSE = "return_hose"
    BOX_AT_COMPUTER = "box_at_computer"
    BOX_AT_PLUG = "box_at_plug"

    @property
    def where(self) -> Where | None:
        """Whose reading it takes; None for the others."""
        return _WHERE.get(self)

    @property
    def place(self) -> Place | None:
        """Where it puts the box; None for the others."""
        return _PLACE.get(self)


_WHERE: Mapping[Step, Where] = {
    Step.SCAN_DATA: Where.SCAN_DATA,
    Step.GAUGE: Where.GAUGE,
    Step.HEAD: Where.HEAD,
    Step.OUTLET_HOSE: Where.OUTLET_HOSE,
    Step.RETURN_HOSE: Where.RETURN_HOSE,
}
_PLACE: Mapping[Step, Place] = {
    Step.BOX_AT_COMPUTER: Place.AT_COMPUTER,
    Step.BOX_AT_PLUG: Place.AT_SENDER_PLUG,
}


class Kind(StrEnum):
    """Events of a comparison on the vehicle."""

    STARTED = "started"  # settings
    THERMOSTAT_SEEN = "thermostat_seen"  # thermostat
    READ = "read"  # step, temperature_c, expanded_u_k, typed, words, thermometer_sha256, simulated
    BOX_READ = "box_read"  # place, the values shown, words
    SKIPPED = "skipped"  # step
    STRUCK_OUT = "struck_out"  # step: what was read there no longer counts, and is asked for again
    FINISHED = "finished"  # words, next_action
    STOPPED = "stopped"  # reason


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceSettings:
    """What a comparison was started with; kept by value in its first event.

    Attributes
    ----------
    item : str
        The vehicle, in the shop's own words.
    curve, curve_toml : str
        What its computer is taken to hold: the name, and the curve itself by value.
    job, operator : str
        As typed.
    time_zone : str
        The shop's zone in which its times are said; UTC in runs of before it was kept.
    """

    item: str
    curve: str
    curve_toml: str
    job: str = ""
    operator: str = ""
    method_version: str = METHOD_VERSION
    time_zone: str = "UTC"

    @property
    def reference(self) -> ReferenceCurve:
        """The curve itself."""
        return curve_from_toml(self.curve_toml, name=self.curve)

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "InPlaceSettings":
        """From the first event."""
        return cls(**{name: content[name] for name in cls.__dataclass_fields__ if name in content})


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A reading that was taken, with what was typed and how it was corrected.

    Attributes
    ----------
    reading : InPlaceReading
    u_display_k : float
        Standard uncertainty of reading the display alone, without what stands behind it. [K]
    typed, words : str
    thermometer_sha256 : str
        Register entry of the thermometer it was read with; empty where there is none.
    is_simulated : bool
        Whether that thermometer's corrections come of a simulated bench.
    """

    reading: InPlaceReading
    u_display_k: float
    typed: str
    words: str
    thermometer_sha256: str = ""
    is_simulated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxTaken:
    """What was shown with the box in one place."""

    values: tuple[ShownValue, ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceState:
    """All there is to know of a comparison; made of its events alone.

    Attributes
    ----------
    settings : InPlaceSettings or None
        None before the first event.
    thermostat : Thermostat or None
        None until it was said.
    taken : Mapping[Step, Taken]
    boxes : Mapping[Step, BoxTaken]
    skipped : frozenset[Step]
    words, next_action : str
        Of a comparison that is finished.
    reason : str
        Why it stopped.
    """

    settings: InPlaceSettings | None = None
    thermostat: Thermostat | None = None
    taken: Mapping[Step, Taken] = field(default_factory=dict)
    boxes: Mapping[Step, BoxTaken] = field(default_factory=dict)
    skipped: frozenset[Step] = frozenset()
    is_finished: bool = False
    is_stopped: bool = False
    words: str = ""
    next_action: str = ""
    reason: str = ""

    @property
    def started(self) -> InPlaceSettings:
        """Settings of a comparison that has begun."""
        if self.settings is None:
            raise ValueError("This comparison has no first event: it was never started.")
        return self.settings

    @property
    def is_over(self) -> bool:
        """True where nothing more will happen."""
        return self.is_finished or self.is_stopped

    @property
    def next_step(self) -> Step | None:
        """What to ask for next, None where everything was answered or left out."""
        return next((step for step in Step if not self.has_answer(step)), None)

    def has_answer(self, step: Step) -> bool:
        """True where a step was read or left out."""
        if step is Step.THERMOSTAT:
            return self.thermostat is not None
        return step in self.skipped or step in self.taken or step in self.boxes

    @property
    def readings(self) -> tuple[InPlaceReading, ...]:
        """Readings that count, in the order of the steps."""
        return tuple(self.taken[step].reading for step in Step if step in self.taken)

    @property
    def is_simulated(self) -> bool:
        """Whether a reading that counts was corrected by what a simulated bench found."""
        return any(taken.is_simulated for taken in self.taken.values())


def advance(state: InPlaceState, event: Event) -> InPlaceState:
    """State after an event.

    Raises
    ------
    ValueError
        If the event cannot follow: a fault of the program, not of the bench.
    """
    kind, payload = Kind(event.kind), event.payload
    if state.is_over or (kind is Kind.STARTED) != (state.settings is None):
        raise ValueError(f"{kind.value} cannot follow here")
    match kind:
        case Kind.STARTED:
            return replace(state, settings=InPlaceSettings.from_json(payload["settings"]))
        case Kind.THERMOSTAT_SEEN:
            return replace(state, thermostat=Thermostat(payload["thermostat"]))
        case Kind.READ:
            step = Step(payload["step"])
            taken = {**state.taken, step: _taken(step, payload)}
            return replace(state, taken=taken, skipped=state.skipped - {step})
        case Kind.BOX_READ:
            step = Step(payload["step"])
            boxes = {**state.boxes, step: _box_taken(step, payload)}
            return replace(state, boxes=boxes, skipped=state.skipped - {step})
        case Kind.SKIPPED:
            return replace(state, skipped=state.skipped | {Step(payload["step"])})
        case Kind.STRUCK_OUT:
            return _struck_out(state, Step(payload["step"]))
        case Kind.FINISHED:
            return replace(
                state, is_finished=True, words=payload["words"], next_action=payload["next_action"]
            )
        case Kind.STOPPED:
            return replace(state, is_stopped=True, reason=payload["reason"])


def state_of(events: Iterable[Event]) -> InPlaceState:
    """State that a log of events leads to; see `led_to`."""
    return led_to(InPlaceState(), events, advance)[0]


def _taken(step: Step, payload: Mapping[str, Any]) -> Taken:
    where = step.where
    if where is None:
        raise ValueError(f"{step.value} takes no reading")
    return Taken(
        reading=InPlaceReading(
            where=where,
            temperature_c=float(payload["temperature_c"]),
            expanded_u_k=float(payload["expanded_u_k"]),
        ),
        u_display_k=float(payload["u_display_k"]),
        typed=str(payload["typed"]),
        words=str(payload["words"]),
        thermometer_sha256=str(payload.get("thermometer_sha256", "")),
        is_simulated=bool(payload.get("simulated", False)),
    )


def _box_taken(step: Step, payload: Mapping[str, Any]) -> BoxTaken:
    place = step.place
    if place is None:
        raise ValueError(f"{step.value} has no box in it")
    values = tuple(
        ShownValue(
            place=place,
            display=Display(one["display"]),
            shown_c=float(one["shown_c"]),
            u_shown_k=float(one["u_shown_k"]),
            resistance_ohm=float(payload["resistance_ohm"]),
            u_resistance_ohm=float(payload["u_resistance_ohm"]),
        )
        for one in payload["shown"]
    )
    return BoxTaken(values=values, words=str(payload["words"]))


def _struck_out(state: InPlaceState, step: Step) -> InPlaceState:
    if step is Step.THERMOSTAT:
        return replace(state, thermostat=None)
    return replace(
        state,
        taken={one: taken for one, taken in state.taken.items() if one is not step},
        boxes={one: taken for one, taken in state.boxes.items() if one is not step},
        skipped=state.skipped - {step},
    )
