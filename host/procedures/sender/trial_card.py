"""Words of the step card while a trial is read at the hottest plateau."""

from host.procedures.sender.bath_words import is_near, settling_words
from host.procedures.sender.plateau_watch import BathStatus
from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.trials import DEEP, SHALLOW, TRIAL_CAUTION, TRIAL_STEPS, TRIAL_WORDS, steps_of
from host.procedures.step_card import Ask, AskKind, StepCard


def trial_card(
    state: SenderCheckState,
    bath: BathStatus,
    *,
    step: int,
    steps: int,
    caught: tuple[tuple[str, bool], ...],
    trouble: str | None,
) -> StepCard:
    """Card of the next step of a trial.

    Parameters
    ----------
    state : SenderCheckState
    bath : BathStatus
    step : int
        Number of the first step of all trials.
    steps : int
    caught : tuple[tuple[str, bool], ...]
    trouble : str or None
    """
    name, set_point_c = state.trial_step, state.set_point_c
    if name is None or set_point_c is None:
        raise ValueError("Every trial of this run is read.")
    number = step + steps_of(state.started.trials).index(name)
    caution = TRIAL_CAUTION.format(temperature=f"{set_point_c:g} °C")
    if not state.is_trial_set:
        return _hands_card(state, name, set_point_c, number, steps, caution, caught, trouble)
    reading = TRIAL_STEPS[name].reading
    is_open, near = state.opened_at is not None, is_near(bath, set_point_c)
    if is_open:
        left = f"{bath.left_s:.0f} s to go" if bath.left_s is not None else "about a minute"
        waiting = f"Reading {reading}, {left}."
        if bath.held_on:
            waiting += " Sender and probe wander against each other, so it is held longer."
    else:
        waiting = f"Next is a reading {reading}. {_rest_words(bath, near=near)}"
    if state.reason is not None and not is_open:
        waiting = f"Read again, because {state.reason}. {waiting}"
    return StepCard(
        step=number,
        steps=steps,
        instruction="Hands off: reading." if is_open else "Leave heater, stirrer and leads as they are.",
        caution=f"Water at {set_point_c:g} °C scalds. Do not move the jug.",
        waiting=waiting,
        trouble=trouble,
        ask=Ask(kind=AskKind.HEAT, temperature_c=set_point_c),
        caught=caught,
    )


def _rest_words(bath: BathStatus, *, near: bool) -> str:
    if bath.rest_s is not None:
        return f"It rests for {bath.rest_s:.0f} s more, then it settles."
    if not near:
        return "It rests first, then it settles: about two minutes."
    return settling_words(bath)


def _hands_card(
    state: SenderCheckState,
    name: str,
    set_point_c: float,
    number: int,
    steps: int,
    caution: str,
    caught: tuple[tuple[str, bool], ...],
    trouble: str | None,
) -> StepCard:
    asked = TRIAL_STEPS[name]
    depth = f"{state.drawn_out_mm:g} mm"
    again = None if state.reason is None else f"Read again: {TRIAL_WORDS[asked.trial]}. {state.reason}"
    return StepCard(
        step=number,
        steps=steps,
        instruction=asked.instruction.format(depth=depth),
        caution=caution,
        button=asked.button.format(depth=depth),
        other_button=asked.leave_out if state.may_leave_trial_out else None,
        trouble=again or trouble,
        ask=_ask_of(state, name, set_point_c),
        is_hands_turn=True,
        caught=caught,
    )


def _ask_of(state: SenderCheckState, name: str, set_point_c: float) -> Ask:
    """What hands do; asked for anew each time a trial has to be read again."""
    turn = f"{name} {len(state.trials_again)}"
    if name in (SHALLOW, DEEP):
        by_mm = state.drawn_out_mm if name == SHALLOW else 0.0
        return Ask(kind=AskKind.DRAW_OUT, temperature_c=set_point_c, step=turn, by_mm=by_mm)
    return Ask(kind=AskKind.CHANGE_PLACES, temperature_c=set_point_c, step=turn)
