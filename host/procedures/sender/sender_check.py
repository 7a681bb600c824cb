"""The sender check as a pure procedure: ``advance(state, event) -> state``.

Fit the sender, check the ohms channel against the decade box, read a plateau at each set point or heat
through all of them in one loop, judge. What was decided live (settled, window closed, a window given up)
is an event and is not decided again on replay.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from enum import StrEnum
from typing import Any

from host.citation import Citation
from host.curve_to_find import CurveChoice
from host.procedures.event import Event
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.sender.heating_loop import HeatingLoop
from host.procedures.sender.sender_check_settings import Course, SenderCheckSettings
from host.procedures.sender.sender_check_state import Phase, SenderCheckState, Window
from host.procedures.sender.trials import TRIAL_STEPS


class Kind(StrEnum):
    """Events of a sender check."""

    STARTED = "started"  # settings
    SENDER_FITTED = "sender_fitted"
    SET_UP_DONE = "set_up_done"  # step, answer
    BOX_READ = "box_read"  # setting of the plan, and the readings that hold it
    OHMS_CHECKED = "ohms_checked"  # largest correction, for the page
    SETTLED = "settled"  # set_point_c, boot, seq: the window opens behind it
    WINDOW_GIVEN_UP = "window_given_up"  # reason
    WINDOW_CLOSED = "window_closed"  # set_point_c and the readings
    AT_REST = "at_rest"  # first, began_s: the loop begins
    HEATER_OFF_CALLED = "heater_off_called"  # probe_c, log_ohm, rate_k_per_min: a pause begins
    PAUSE_OVER = "pause_over"  # lag_s as seen: heat on
    TOP_REACHED = "top_reached"  # as a pause, after the last heating
    LOOP_CLOSED = "loop_closed"  # the readings, end_s
    TRIAL_SET = "trial_set"  # step: hands have changed what it asks for
    TRIAL_READ = "trial_read"  # step and the readings
    TRIAL_AGAIN = "trial_again"  # trial, reason: what was read tells nothing
    TRIAL_LEFT_OUT = "trial_left_out"  # trial, reason
    MOVING = "moving"  # connector and lead are being moved from here on
    BURST_READ = "burst_read"  # the readings that carry the bursts
    CONTACT_LEFT_OUT = "contact_left_out"
    CURVE_CHOSEN = "curve_chosen"  # a `CurveChoice`
    RESULT = "result"  # verdict, certificate number
    STOPPED = "stopped"  # reason


def advance(state: SenderCheckState, event: Event) -> SenderCheckState:
    """State after an event.

    An event that does not fit the state is a fault of the program, not of the bench, and raises.

    Raises
    ------
    ValueError
        If the event cannot follow.
    """
    kind, payload = Kind(event.kind), event.payload
    if kind not in _FOLLOWS[state.phase] or (kind is Kind.STARTED) != (state.settings is None):
        raise ValueError(f"{kind.value} cannot follow in a run that is {state.phase.value}")
    match kind:
        case Kind.STARTED:
            settings = SenderCheckSettings.from_json(payload["settings"])
            plan = tuple(BoxSetting.from_json(setting) for setting in payload["plan"])
            earlier = settings.ohms_check
            if earlier is not None:
                return replace(state, settings=settings, plan=earlier.plan, box_read=earlier.box_read)
            return replace(state, settings=settings, plan=plan)
        case Kind.SENDER_FITTED:
            return _set_up(replace(state, is_fitted=True, look_from=_mark(payload)))
        case Kind.SET_UP_DONE:
            if payload["step"] != state.set_up_step or not state.is_fitted:
                raise ValueError(f"{payload['step']} is not the step of setting up that comes next")
            answers = {**state.answers, payload["step"]: payload["answer"]}
            return _set_up(replace(state, answers=answers, look_from=_mark(payload)))
        case Kind.BOX_READ:
            citation = Citation.from_json(payload["readings"])
            return replace(
                state, box_read=(*state.box_read, citation), look_from=(citation.boot, citation.last)
            )
        case Kind.OHMS_CHECKED:
            return _heated(state)
        case Kind.SETTLED:
            return replace(state, opened_at=_mark(payload), reason=None)
        case Kind.WINDOW_GIVEN_UP:
            return replace(state, opened_at=None, look_from=_mark(payload), reason=payload["reason"])
        case Kind.WINDOW_CLOSED:
            return _with_window(state, payload)
        case Kind.AT_REST | Kind.HEATER_OFF_CALLED | Kind.PAUSE_OVER | Kind.TOP_REACHED:
            return replace(state, loop=_loop_after(state, kind, payload), look_from=_mark(payload))
        case Kind.LOOP_CLOSED:
            citation = Citation.from_json(payload["readings"])
            return replace(
                state,
                loop_readings=citation,
                loop_end_s=float(payload["end_s"]),
                look_from=(citation.boot, citation.last),
                phase=_after_plateaus(state),
            )
        case Kind.TRIAL_SET:
            if payload["step"] != state.trial_step or state.is_trial_set:
                raise ValueError(f"{payload['step']} is not the step of a trial that hands do next")
            return replace(state, is_trial_set_by_hand=True, look_from=_mark(payload), reason=None)
        case Kind.TRIAL_READ:
            return _with_trial(state, payload)
        case Kind.TRIAL_AGAIN:
            return _again(state, payload)
        case Kind.TRIAL_LEFT_OUT:
            left_out = {**state.trials_left_out, payload["trial"]: payload["reason"]}
            return _past_trials(
                replace(state, trials_left_out=left_out, look_from=_mark(payload) or state.look_from)
            )
        case Kind.MOVING:
            return replace(state, is_moving=True, look_from=_mark(payload))
        case Kind.BURST_READ:
            citation = Citation.from_json(payload["readings"])
            return replace(state, is_moving=False, burst=citation, phase=_after_reading(state))
        case Kind.CONTACT_LEFT_OUT:
            return replace(state, is_moving=False, phase=_after_reading(state))
        case Kind.CURVE_CHOSEN:
            return _judged_against(state, CurveChoice.from_json(payload))
        case Kind.RESULT:
            return replace(
                state,
                phase=Phase.DONE,
                verdict=payload["verdict"],
                certificate=payload["certificate"],
                draft=payload.get("draft"),
            )
        case Kind.STOPPED:
            return replace(state, phase=Phase.STOPPED, reason=payload["reason"])


def state_of(events: Iterable[Event]) -> SenderCheckState:
    """State that a log of events leads to."""
    state = SenderCheckState()
    for event in events:
        state = advance(state, event)
    return state


_FOLLOWS: Mapping[Phase, frozenset[Kind]] = {
    Phase.FITTING: frozenset({Kind.STARTED, Kind.SENDER_FITTED, Kind.SET_UP_DONE, Kind.STOPPED}),
    Phase.OHMS_CHECK: frozenset({Kind.BOX_READ, Kind.OHMS_CHECKED, Kind.STOPPED}),
    Phase.PLATEAUS: frozenset({Kind.SETTLED, Kind.WINDOW_GIVEN_UP, Kind.WINDOW_CLOSED, Kind.STOPPED}),
    Phase.LOOP: frozenset(
        {
            Kind.AT_REST,
            Kind.HEATER_OFF_CALLED,
            Kind.PAUSE_OVER,
            Kind.TOP_REACHED,
            Kind.LOOP_CLOSED,
            Kind.STOPPED,
        }
    ),
    Phase.TRIALS: frozenset(
        {
            Kind.TRIAL_SET,
            Kind.SETTLED,
            Kind.WINDOW_GIVEN_UP,
            Kind.TRIAL_READ,
            Kind.TRIAL_AGAIN,
            Kind.TRIAL_LEFT_OUT,
            Kind.STOPPED,
        }
    ),
    Phase.CONTACT: frozenset({Kind.MOVING, Kind.BURST_READ, Kind.CONTACT_LEFT_OUT, Kind.STOPPED}),
    Phase.CHOOSING: frozenset({Kind.CURVE_CHOSEN, Kind.STOPPED}),
    Phase.JUDGING: frozenset({Kind.RESULT, Kind.STOPPED}),
    Phase.DONE: frozenset(),
    Phase.STOPPED: frozenset(),
}


def _mark(payload: Mapping[str, Any]) -> tuple[str, int] | None:
    return (payload["boot"], int(payload["seq"])) if payload.get("boot") is not None else None


def _set_up(state: SenderCheckState) -> SenderCheckState:
    """On to the ohms check, or past it, once everything is set up."""
    if state.set_up_step is not None:
        return state
    if state.started.ohms_check is None:
        return replace(state, phase=Phase.OHMS_CHECK)
    return _heated(state)


def _heated(state: SenderCheckState) -> SenderCheckState:
    """On to the heating, as the run goes."""
    is_loop = state.started.course is Course.LOOP
    return replace(state, phase=Phase.LOOP if is_loop else Phase.PLATEAUS, heated_from=state.look_from)


def _loop_after(state: SenderCheckState, kind: Kind, payload: Mapping[str, Any]) -> HeatingLoop:
    """The loop after one of its events, refused where the event does not fit it."""
    loop = state.loop
    if kind is Kind.AT_REST:
        if loop is not None:
            raise ValueError("This loop has begun already.")
        return HeatingLoop(
            boot=payload["boot"], first=int(payload["first"]), began_s=float(payload["began_s"])
        )
    if loop is None or (loop.resting is None) == (kind is Kind.PAUSE_OVER) or loop.is_at_top:
        raise ValueError(f"{kind.value} does not fit how far this loop has come")
    if kind is Kind.PAUSE_OVER:
        return loop.heated_on(payload)
    return loop.called_off(payload, is_top=kind is Kind.TOP_REACHED)


def _with_window(state: SenderCheckState, payload: Mapping[str, Any]) -> SenderCheckState:
    citation = Citation.from_json(payload["readings"])
    window = Window(set_point_c=float(payload["set_point_c"]), citation=citation)
    windows = (*state.windows, window)
    all_read = len(windows) == len(state.started.set_points_c)
    return replace(
        state,
        windows=windows,
        opened_at=None,
        look_from=(citation.boot, citation.last),
        phase=_after_plateaus(state) if all_read else Phase.PLATEAUS,
    )


def _after_plateaus(state: SenderCheckState) -> Phase:
    if state.trial_step is not None:
        return Phase.TRIALS
    return Phase.CONTACT if state.started.move_connector else _after_reading(state)


def _with_trial(state: SenderCheckState, payload: Mapping[str, Any]) -> SenderCheckState:
    if payload["step"] != state.trial_step:
        raise ValueError(f"{payload['step']} is not the step of a trial that is read next")
    citation = Citation.from_json(payload["readings"])
    return _past_trials(
        replace(
            state,
            trial_windows={**state.trial_windows, payload["step"]: citation},
            opened_at=None,
            look_from=(citation.boot, citation.last),
        )
    )


def _again(state: SenderCheckState, payload: Mapping[str, Any]) -> SenderCheckState:
    """The trial begins anew: what hands have changed they are asked for again."""
    trial = payload["trial"]
    kept = {step: cited for step, cited in state.trial_windows.items() if TRIAL_STEPS[step].trial != trial}
    return replace(
        state,
        trial_windows=kept,
        trials_again=(*state.trials_again, trial),
        is_trial_set_by_hand=False,
        opened_at=None,
        look_from=_mark(payload),
        reason=payload["reason"],
    )


def _past_trials(state: SenderCheckState) -> SenderCheckState:
    """On to the next step of a trial, or to what comes after them."""
    return replace(state, is_trial_set_by_hand=False, reason=None, phase=_after_plateaus(state))


def _after_reading(state: SenderCheckState) -> Phase:
    return Phase.CHOOSING if state.started.is_to_be_found_out else Phase.JUDGING


def _judged_against(state: SenderCheckState, choice: CurveChoice) -> SenderCheckState:
    settings = replace(
        state.started,
        curve=choice.curve,
        curve_hash=choice.curve_hash,
        curve_text=choice.curve_text,
        limit_k=choice.limit_k,
        curve_choice=choice,
    )
    return replace(state, settings=settings, phase=Phase.JUDGING)
