"""Trials: at the hottest plateau one thing is changed on purpose, to measure what is assumed otherwise.

The sender is read at two depths, with two currents, and with probe and sender in each other's place. Each
reading of a trial is a step of its own; what a step asks of hands it says with its caution.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from host.procedures.sender.set_up_steps import HEX_IN_AIR, HEX_UNDER_WATER


class Trial(StrEnum):
    """What is changed on purpose, in the order in which a run does it."""

    CURRENTS = "currents"
    DEPTHS = "depths"
    PLACES = "places"


#: As a step card and a form name them.
TRIAL_WORDS: Mapping[Trial, str] = {
    Trial.CURRENTS: "two currents",
    Trial.DEPTHS: "two depths",
    Trial.PLACES: "probe and sender swapped",
}

#: Duty of the larger current: on all the time.
FULL_DUTY = 1.0

#: How far the sender is drawn out, by how it hangs; its tip must stay well under water. [mm]
DRAWN_OUT_MM: Mapping[str, float] = {HEX_UNDER_WATER: 15.0, HEX_IN_AIR: 10.0}

#: Rig time after a change before the settling is looked at: bodies, and hands, need a while. [s]
REST_S = 75.0

#: For every step that hands do at the hot jug.
TRIAL_CAUTION = (
    "Water at {temperature} and its steam scald. Gloves and eye protection; take hold by clamp or tongs, "
    "no hand above the water; terminals dry; never move the jug."
)

#: Time that a step takes, with that rest, the settling and the reading; half as much again for hands. [min]
_STEP_MIN = 3.0
_HANDS_MIN = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialStep:
    """One reading of a trial.

    Attributes
    ----------
    trial : Trial
    instruction, button : str
        What hands do, and say by pressing; empty where the bench does it by itself. ``{depth}`` stands for
        how far the sender is drawn out.
    reading : str
        What is being read, for a card that waits.
    leave_out : str
        What to press to leave the trial out; empty where the sender hangs elsewhere already.
    """

    trial: Trial
    instruction: str = ""
    button: str = ""
    reading: str
    leave_out: str = ""

    @property
    def needs_hands(self) -> bool:
        """Whether something is moved by hand before it."""
        return bool(self.instruction)


FULL_CURRENT, USUAL_CURRENT = "full_current", "usual_current"
SHALLOW, DEEP = "drawn_out", "lowered"
CHANGED = "changed_places"

#: By name, in order; events keep the names.
TRIAL_STEPS: Mapping[str, TrialStep] = {
    FULL_CURRENT: TrialStep(trial=Trial.CURRENTS, reading="with the current on all the time"),
    USUAL_CURRENT: TrialStep(trial=Trial.CURRENTS, reading="with the usual current again"),
    SHALLOW: TrialStep(
        trial=Trial.DEPTHS,
        instruction="Heater off. Mark where the sender’s clamp stands and draw it out by {depth}. Heater on "
        "again.",
        button="It hangs {depth} higher",
        reading="with the sender drawn out",
        leave_out="Leave the two depths out",
    ),
    DEEP: TrialStep(
        trial=Trial.DEPTHS,
        instruction="Heater off. Lower the sender to its mark. Heater on again.",
        button="It hangs at its mark",
        reading="with the sender at its first depth again",
    ),
    CHANGED: TrialStep(
        trial=Trial.PLACES,
        instruction="Heater off. Swap probe and sender, each as deep as before. Heater on again.",
        button="They are swapped",
        reading="with probe and sender swapped",
        leave_out="Leave the swap out",
    ),
}


def steps_of(trials: Iterable[str]) -> tuple[str, ...]:
    """Steps of some trials, in the order in which a run takes them."""
    chosen = set(trials)
    return tuple(name for name, step in TRIAL_STEPS.items() if step.trial in chosen)


def minutes_of(trials: Iterable[str]) -> float:
    """Time that some trials add to a run. [min]"""
    steps = [TRIAL_STEPS[name] for name in steps_of(trials)]
    return sum(_STEP_MIN + (_HANDS_MIN if step.needs_hands else 0.0) for step in steps)


def base_of(step: str, read: Iterable[str]) -> str | None:
    """Step whose reading another one is set against, all else being alike; None is the last plateau."""
    if step == FULL_CURRENT:
        return USUAL_CURRENT
    if step == SHALLOW:
        return DEEP
    known = set(read)
    return next((name for name in (DEEP, USUAL_CURRENT) if name in known), None)
