"""Words of the step card of a sender check, all in one place so that they can be translated."""

import math
from dataclasses import replace

from host.procedures.sender.bath_words import is_near, settling_words
from host.procedures.sender.burst_watch import BURSTS
from host.procedures.sender.loop_card import LOOP_STEPS, caught_of, loop_card
from host.procedures.sender.loop_watch import LoopStatus
from host.procedures.sender.plateau_watch import BathStatus
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.procedures.sender.set_up_steps import SET_UP_STEPS
from host.procedures.sender.trial_card import trial_card
from host.procedures.sender.trials import TRIAL_WORDS, Trial, steps_of
from host.procedures.step_card import Ask, AskKind, StepCard

# Water this warm scalds at once; common practice, no single source.
_SCALDING_C = 50.0

_NOTHING_SEEN = LoopStatus()


def card_of(
    state: SenderCheckState,
    bath: BathStatus,
    *,
    loop: LoopStatus = _NOTHING_SEEN,
    bursts: int = 0,
    trouble: str | None = None,
    held_up_by: str = "",
) -> StepCard:
    """Step card of a run.

    Parameters
    ----------
    state : SenderCheckState
    bath : BathStatus
        What the bench sees just now.
    loop : LoopStatus
        The same where the run goes by a loop.
    bursts : int
        How many bursts have come in while the connector is moved.
    trouble : str or None
        Trouble of the station itself; it goes before that of the readings.
    held_up_by : str
        Why the certificate of a run that is read and judged cannot be let out.
    """
    started = state.started
    before_bath = 1 + len(started.set_up) + (0 if started.ohms_check is not None else 1)
    is_loop = started.course is Course.LOOP
    heating = LOOP_STEPS if is_loop else len(started.set_points_c) + len(steps_of(started.trials))
    before_contact = before_bath + heating
    steps = before_contact + (1 if started.move_connector else 0) + 1
    caught = caught_of(state) if is_loop else _caught(state)
    match state.phase:
        case Phase.FITTING if state.is_fitted:
            return _set_up_card(state, steps=steps, caught=caught, trouble=trouble)
        case Phase.FITTING:
            by_itself = "Water to above the hex with the boot on; keep the terminals dry. "
            return StepCard(
                step=1,
                steps=steps,
                instruction="Hang the sender beside the probe in cold water, stirrer on, and clip its leads.",
                caution=("" if started.set_up else by_itself)
                + "The heater must be off while your hands are in the jug.",
                button="It hangs there",
                trouble=trouble,
                ask=Ask(kind=AskKind.FIT_SENDER),
                is_hands_turn=True,
                caught=caught,
            )
        case Phase.OHMS_CHECK:
            done = len(state.box_read)
            return StepCard(
                step=before_bath,
                steps=steps,
                instruction="Wait: the bench is checking its own ohms against the decade box.",
                waiting=f"{done} of {len(state.plan)} settings read. Leave the leads alone.",
                trouble=trouble,
                caught=caught,
            )
        case Phase.PLATEAUS:
            return _plateau_card(
                state,
                bath,
                step=before_bath + 1 + len(state.windows),
                steps=steps,
                caught=caught,
                trouble=trouble or bath.trouble,
            )
        case Phase.LOOP:
            return loop_card(state, loop, before=before_bath, steps=steps, trouble=trouble)
        case Phase.TRIALS:
            return trial_card(
                state,
                bath,
                step=before_bath + len(started.set_points_c) + 1,
                steps=steps,
                caught=caught,
                trouble=trouble or bath.trouble,
            )
        case Phase.CONTACT:
            return _contact_card(state, steps=steps, bursts=bursts, caught=caught, trouble=trouble)
        case Phase.CHOOSING | Phase.JUDGING | Phase.DONE | Phase.STOPPED:
            return _last_card(state, steps=steps, caught=caught, trouble=trouble, held_up_by=held_up_by)


def _caught(state: SenderCheckState) -> tuple[tuple[str, bool], ...]:
    """Each set point and each trial as words, and whether it has been read."""
    points = tuple(
        (f"{point:g} °C", number < len(state.windows))
        for number, point in enumerate(state.started.set_points_c)
    )
    trials = tuple(
        (TRIAL_WORDS[trial], trial in state.trials_read)
        for trial in Trial
        if trial in state.started.trials and trial not in state.trials_left_out
    )
    return points + trials


def _last_card(
    state: SenderCheckState,
    *,
    steps: int,
    caught: tuple[tuple[str, bool], ...],
    trouble: str | None,
    held_up_by: str,
) -> StepCard:
    """Card of a run that needs no bench any more: whatever comes, its heater goes off."""
    card = StepCard(
        step=steps,
        steps=steps,
        instruction="Done. Heater off; let the water cool before you take anything out.",
        caution="The jug is hot. Do not move it.",
        ask=Ask(kind=AskKind.HEATER_OFF),
        is_hands_turn=True,
        caught=caught,
    )
    if state.phase is Phase.STOPPED:
        instruction = "This run has stopped. Heater off."
        return replace(card, instruction=instruction, caution=None, trouble=state.reason)
    if state.phase is Phase.CHOOSING:
        instruction = "Switch the heater off. All is read: choose the curve to judge it against."
        return replace(card, instruction=instruction)
    if state.phase is not Phase.JUDGING:
        return card
    if held_up_by:
        instruction = "All is read and kept. Its certificate cannot be let out yet."
        return replace(card, instruction=instruction, button="Try again", trouble=held_up_by)
    instruction = "Switch the heater off. The result is being worked out."
    return replace(card, instruction=instruction, waiting="A few seconds.", trouble=trouble)


def _set_up_card(
    state: SenderCheckState, *, steps: int, caught: tuple[tuple[str, bool], ...], trouble: str | None
) -> StepCard:
    name = state.set_up_step
    if name is None:
        raise ValueError("Everything is set up in this run.")
    asked = SET_UP_STEPS[name]
    return StepCard(
        step=2 + len(state.answers),
        steps=steps,
        instruction=asked.instruction,
        caution=asked.caution,
        button=asked.button,
        other_button=asked.other_button or None,
        trouble=trouble,
        ask=Ask(kind=AskKind.LOOK, step=name),
        is_hands_turn=True,
        caught=caught,
    )


def _contact_card(
    state: SenderCheckState,
    *,
    steps: int,
    bursts: int,
    caught: tuple[tuple[str, bool], ...],
    trouble: str | None,
) -> StepCard:
    is_moving = state.is_moving
    return StepCard(
        step=steps - 1,
        steps=steps,
        instruction="Move the connector and its lead now, all the while."
        if is_moving
        else "Switch the heater off. Then take the connector in one hand, its lead in the other.",
        caution="The jug is hot. Move connector and lead only, never the jug or the sender.",
        button=None if is_moving else "I begin to move them",
        other_button=None if is_moving else "Leave this out",
        waiting=f"Reading fifty times a second: {bursts} of {BURSTS} seconds." if is_moving else None,
        trouble=trouble,
        ask=Ask(kind=AskKind.MOVE_CONNECTOR),
        is_hands_turn=not is_moving,
        caught=caught,
    )


def _plateau_card(
    state: SenderCheckState,
    bath: BathStatus,
    *,
    step: int,
    steps: int,
    caught: tuple[tuple[str, bool], ...],
    trouble: str | None,
) -> StepCard:
    set_point_c = state.set_point_c
    if set_point_c is None:
        raise ValueError("Every plateau of this run is read.")
    near = is_near(bath, set_point_c)
    if state.opened_at is not None:
        left = f"{bath.left_s:.0f} s to go" if bath.left_s is not None else "about a minute"
        instruction = "Hands off: reading."
        waiting: str | None = f"Reading the plateau at {set_point_c:g} °C, {left}."
        if bath.held_on:
            waiting += " Sender and probe wander against each other, so it is held longer."
    elif near:
        instruction, waiting = "Leave heater and stirrer as they are.", settling_words(bath)
    else:
        instruction = f"Set the bath heater to {set_point_c:g} °C and leave the stirrer on."
        waiting = None if bath.probe_c is None else f"The bath is at {bath.probe_c:.1f} °C."
    if not state.windows and state.started.ohms_check is not None:
        waiting = f"{waiting or ''} Ohms check {state.started.ohms_check.words(state.started.zone)}.".strip()
    if state.reason is not None and state.opened_at is None:
        waiting = f"Read again, because {state.reason}. {waiting or ''}".strip()
    hottest_c = max(set_point_c, math.floor(bath.probe_c or 0.0))
    hot = hottest_c >= _SCALDING_C
    return StepCard(
        step=step,
        steps=steps,
        instruction=instruction,
        caution=f"Water at {hottest_c:g} °C scalds. Do not move the jug; nothing sealed goes in it."
        if hot
        else None,
        waiting=waiting,
        trouble=trouble,
        ask=Ask(kind=AskKind.HEAT, temperature_c=set_point_c),
        is_hands_turn=state.opened_at is None and not near,
        caught=caught,
    )
