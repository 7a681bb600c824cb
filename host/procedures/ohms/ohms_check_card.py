"""Words of the step card of an ohms check, all in one place so that they can be translated."""

from host.procedures.ohms.ohms_check import OhmsCheckState, Phase
from host.procedures.step_card import Ask, AskKind, StepCard

_STEPS = 2


def card_of(state: OhmsCheckState, *, trouble: str | None = None) -> StepCard:
    """Step card of an ohms check; ``trouble`` is the station's own."""
    match state.phase:
        case Phase.WARMING_UP:
            return StepCard(
                step=1,
                steps=_STEPS,
                instruction="Let the rig be on for ten minutes in the air it works in, its lid closed.",
                waiting="The sender may stay clipped on: the decade box takes its place inside the rig. "
                "A rig that warms up meanwhile shifts its reference resistors.",
                button="It is warm",
                trouble=trouble,
                ask=Ask(kind=AskKind.LOOK, step="warmed_up"),
                is_hands_turn=True,
                caught=_caught(state),
            )
        case Phase.READING:
            setting = state.next_setting
            at = (
                ""
                if setting is None
                else f" Now {setting.setting_ohm} Ω on the {setting.range_ohm:g} Ω range."
            )
            return StepCard(
                step=2,
                steps=_STEPS,
                instruction="Wait: the bench is checking its own ohms against the decade box.",
                waiting=f"{len(state.box_read)} of {len(state.plan)} settings read. "
                f"Leave the leads alone.{at}",
                trouble=trouble,
                caught=_caught(state),
            )
        case Phase.LEAVING:
            return StepCard(
                step=2,
                steps=_STEPS,
                instruction="Wait: the bench takes the decade box out again.",
                waiting="Every range is within its limit.",
                trouble=trouble,
                caught=_caught(state),
            )
        case Phase.DONE:
            return StepCard(
                step=_STEPS,
                steps=_STEPS,
                instruction="Done. The next sender check at this station may rest on it for 24 hours.",
                caught=_caught(state),
            )
        case Phase.STOPPED:
            return StepCard(
                step=_STEPS,
                steps=_STEPS,
                instruction="This check has stopped.",
                trouble=state.reason,
                caught=_caught(state),
            )


def _caught(state: OhmsCheckState) -> tuple[tuple[str, bool], ...]:
    """Each range in words, and whether all its settings are read."""
    ranges = list(dict.fromkeys((setting.insertion, setting.range_ohm) for setting in state.plan))
    left = {(setting.insertion, setting.range_ohm) for setting in state.plan[len(state.box_read) :]}
    return tuple(
        (f"{insertion.value}, {range_ohm:g} Ω", (insertion, range_ohm) not in left)
        for insertion, range_ohm in ranges
    )
