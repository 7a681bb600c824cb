"""What a press of a card's button means, step by step."""

from collections.abc import Mapping
from typing import Any

from host.procedures.event import Event
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.procedures.sender.set_up_steps import SET_UP_STEPS
from host.procedures.sender.trials import TRIAL_STEPS


def pressed(state: SenderCheckState, mark: Mapping[str, Any], *, other: bool) -> Event | None:
    """Event of a press, None where the card has no such button.

    Parameters
    ----------
    state : SenderCheckState
    mark : Mapping[str, Any]
        Newest reading at that moment, by boot and number; empty where none has come in.
    other : bool
        Whether the second, quiet button was pressed.
    """
    if state.phase is Phase.FITTING and not state.is_fitted:
        return None if other else Event(kind=Kind.SENDER_FITTED, payload=mark)
    if state.phase is Phase.FITTING and state.set_up_step is not None:
        step = SET_UP_STEPS[state.set_up_step]
        if other and not step.other_button:
            return None
        answer = step.other_answer if other else step.answer
        return Event(
            kind=Kind.SET_UP_DONE, payload={"step": state.set_up_step, "answer": answer or "done", **mark}
        )
    if state.phase is Phase.TRIALS and state.trial_step is not None and not state.is_trial_set:
        step, trial = state.trial_step, TRIAL_STEPS[state.trial_step].trial
        if not other:
            return Event(kind=Kind.TRIAL_SET, payload={"step": step, **mark})
        if not state.may_leave_trial_out:
            return None
        payload = {"trial": trial.value, "reason": "at the bench", **mark}
        return Event(kind=Kind.TRIAL_LEFT_OUT, payload=payload)
    if state.phase is Phase.CONTACT and not state.is_moving:
        return Event(kind=Kind.CONTACT_LEFT_OUT if other else Kind.MOVING, payload=mark)
    return None
