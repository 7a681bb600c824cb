"""The infrared check as a pure procedure: ``advance(state, event) -> state``.

A thermometer is shot at a target whose temperature a reference says. What was shown and what the reference
said at that moment are one event; whether a shot that lies apart counts, a person answers: another event.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from calibration.infrared.infrared_point import FEWEST_SHOTS
from calibration.infrared.outlying_shot import outlying_shot
from host.citation import Citation
from host.procedures.event import Event, led_to
from host.procedures.infrared.infrared_settings import InfraredSettings

MOST_SHOTS = 12


class Kind(StrEnum):
    """Events of an infrared check."""

    STARTED = "started"  # settings
    SET_UP_DONE = "set_up_done"  # step
    SHOT = "shot"  # shown_c, reference_c, u_reference_k, typed, reference_words, cites, stamped, body_c
    ANSWERED = "answered"  # shot, counts, reason
    PRESS_FORGOTTEN = "press_forgotten"  # stamped: a press of the bench button that was no shot
    POINT_CLOSED = "point_closed"  # nothing more at this set point
    RESULT = "result"  # certificate and pdf_sha256, or draft
    STOPPED = "stopped"  # reason


class SetUp(StrEnum):
    """What is made sure of before the first shot, in this order."""

    WARMED_UP = "warmed_up"
    LENS_AND_STEAM = "lens_and_steam"
    EMISSIVITY = "emissivity"
    DISTANCE = "distance"


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenShot:
    """One shot.

    Attributes
    ----------
    number : int
        Over the whole check, from 1.
    point : int
        Index of its set point.
    shown_c, reference_c, u_reference_k : float
        What was shown; what the reference said then, and its standard uncertainty. [°C], [K]
    typed, reference_words : str
        As typed, and how the reference was come by.
    cites : Citation or None
        Readings of the probe behind it.
    stamped : tuple[str, int, float] or None
        Press of the bench button: boot, number of its pack, rig time. [s]
    body_c : float or None
        Own body of the rig's sensor, as it was read; None of a handheld. [°C]
    counts : bool
        False where a person left it out.
    reason : str
        Why it counts although it lies apart, or why it was left out.
    """

    number: int
    point: int
    shown_c: float
    reference_c: float
    u_reference_k: float
    typed: str
    reference_words: str
    cites: Citation | None = None
    stamped: tuple[str, int, float] | None = None
    body_c: float | None = None
    counts: bool = True
    reason: str = ""

    @property
    def difference_k(self) -> float:
        """Shown minus reference. [K]"""
        return self.shown_c - self.reference_c

    @property
    def is_answered(self) -> bool:
        """Whether a person has said something about it."""
        return bool(self.reason)


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredState:
    """All there is to know of a check; made of its events alone.

    Attributes
    ----------
    settings : InfraredSettings or None
        None before the first event.
    set_up : tuple[SetUp, ...]
        Steps that were done.
    shots : tuple[TakenShot, ...]
    forgotten : frozenset
        Presses of the bench button that were no shots: boot, number of the pack, rig time.
    closed : int
        Set points that are finished.
    has_paper : bool
        Whether a certificate or a draft of one was made.
    is_stopped : bool
    reason : str
        Why it stopped.
    """

    settings: InfraredSettings | None = None
    set_up: tuple[SetUp, ...] = ()
    shots: tuple[TakenShot, ...] = ()
    forgotten: frozenset[tuple[str, int, float]] = frozenset()
    closed: int = 0
    has_paper: bool = False
    is_stopped: bool = False
    reason: str = ""

    @property
    def started(self) -> InfraredSettings:
        """Settings of a check that has begun."""
        if self.settings is None:
            raise ValueError("This check has no first event: it was never started.")
        return self.settings

    @property
    def is_over(self) -> bool:
        """True where nothing more will happen."""
        return self.is_stopped or self.has_paper

    @property
    def needed_set_up(self) -> tuple[SetUp, ...]:
        """Steps of setting up, in order. The rig's sensor needs no hands at its switch."""
        return tuple(step for step in SetUp if not (self.started.is_rig_sensor and step is SetUp.EMISSIVITY))

    @property
    def next_set_up(self) -> SetUp | None:
        """Next step of setting up, None where all are done."""
        return next((step for step in self.needed_set_up if step not in self.set_up), None)

    @property
    def point_c(self) -> float | None:
        """Set point that is being shot, None where all are finished. [°C]"""
        points = self.started.set_points_c
        return points[self.closed] if self.closed < len(points) else None

    def shots_at(self, point: int) -> tuple[TakenShot, ...]:
        """Every shot at a set point, those left out among them."""
        return tuple(shot for shot in self.shots if shot.point == point)

    def counted_at(self, point: int) -> tuple[TakenShot, ...]:
        """Shots at a set point that count."""
        return tuple(shot for shot in self.shots_at(point) if shot.counts)

    @property
    def doubtful(self) -> TakenShot | None:
        """The shot at this set point that lies apart and that nobody has answered for."""
        counted = self.counted_at(self.closed)
        apart = outlying_shot(
            # What the bath did meanwhile is no fault of a shot.
            [shot.difference_k for shot in counted],
            resolution_k=self.started.resolution_k,
            asks_by_size=self.started.asks_by_size,
        )
        return None if apart is None or counted[apart].is_answered else counted[apart]

    @property
    def may_close(self) -> bool:
        """Whether this set point has all it needs."""
        return (
            self.point_c is not None
            and len(self.counted_at(self.closed)) >= FEWEST_SHOTS
            and self.doubtful is None
        )


def advance(state: InfraredState, event: Event) -> InfraredState:
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
            return replace(state, settings=InfraredSettings.from_json(payload["settings"]))
        case Kind.SET_UP_DONE:
            return _set_up(state, SetUp(payload["step"]))
        case Kind.SHOT:
            return _with_shot(state, payload)
        case Kind.ANSWERED:
            return _answered(state, int(payload["shot"]), bool(payload["counts"]), str(payload["reason"]))
        case Kind.PRESS_FORGOTTEN:
            return replace(state, forgotten=state.forgotten | {_stamp(payload["stamped"])})
        case Kind.POINT_CLOSED:
            if not state.may_close:
                raise ValueError("this set point lacks shots or an answer")
            return replace(state, closed=state.closed + 1)
        case Kind.RESULT:
            if state.point_c is not None:
                raise ValueError("a result needs every set point finished")
            return replace(state, has_paper=True)
        case Kind.STOPPED:
            return replace(state, is_stopped=True, reason=str(payload["reason"]))


def state_of(events: Iterable[Event]) -> InfraredState:
    """State that a log of events leads to; see `led_to`."""
    return led_to(InfraredState(), events, advance)[0]


def _set_up(state: InfraredState, step: SetUp) -> InfraredState:
    if step is not state.next_set_up:
        raise ValueError(f"{step.value} is not the next step")
    return replace(state, set_up=(*state.set_up, step))


def _with_shot(state: InfraredState, payload: Mapping[str, Any]) -> InfraredState:
    if state.next_set_up is not None or state.point_c is None:
        raise ValueError("no shot is asked for here")
    stamped, body_c = payload.get("stamped"), payload.get("body_c")
    shot = TakenShot(
        number=len(state.shots) + 1,
        point=state.closed,
        shown_c=float(payload["shown_c"]),
        reference_c=float(payload["reference_c"]),
        u_reference_k=float(payload["u_reference_k"]),
        typed=str(payload["typed"]),
        reference_words=str(payload["reference_words"]),
        cites=Citation.from_json(payload["cites"]) if payload.get("cites") else None,
        stamped=_stamp(stamped) if stamped else None,
        body_c=None if body_c is None else float(body_c),
    )
    return replace(state, shots=(*state.shots, shot))


def _answered(state: InfraredState, number: int, counts: bool, reason: str) -> InfraredState:
    shot = state.shots[number - 1]
    if shot.point != state.closed or not reason:
        raise ValueError("an answer needs a reason and a shot at the set point that is open")
    answered = replace(shot, counts=counts, reason=reason)
    return replace(state, shots=tuple(answered if one.number == number else one for one in state.shots))


def _stamp(stamped: Sequence[Any]) -> tuple[str, int, float]:
    boot, seq, rig_time_s = stamped
    return (str(boot), int(seq), float(rig_time_s))
