"""The step card: the one next instruction of a run, computed from its state and never remembered."""

from dataclasses import dataclass
from enum import StrEnum


class AskKind(StrEnum):
    """What a step asks of a pair of hands."""

    FIT_SENDER = "fit_sender"
    HEAT = "heat"
    HEATER_OFF = "heater_off"
    LOOK = "look"  # nothing is moved: a person looks and says so
    MOVE_CONNECTOR = "move_connector"
    DRAW_OUT = "draw_out"  # by_mm out of its working depth; 0 lowers it again
    CHANGE_PLACES = "change_places"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A thing to be done by hand, also in a form that simulated hands understand.

    Attributes
    ----------
    temperature_c : float or None
        Where the heater is to be set. [°C]
    step : str
        Which of several steps of a kind.
    by_mm : float or None
        How far the sender is to be drawn out. [mm]
    """

    kind: AskKind
    temperature_c: float | None = None
    step: str = ""
    by_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepCard:
    """One instruction, one caution, one button.

    Attributes
    ----------
    step, steps : int
        Which step of how many.
    instruction : str
        Largest text on the page.
    caution : str or None
        Where hands get hurt.
    button : str or None
        Label of the one button; None where the bench goes on by itself.
    other_button : str or None
        Label of a second, quiet answer where there is one.
    waiting : str or None
        Why nothing is to be done just now, and for how long.
    trouble : str or None
        What is wrong and what to do about it.
    ask : Ask or None
        The instruction for simulated hands, also while what it asked for is still needed.
    is_hands_turn : bool
        True where something is to be done by hand just now.
    caught : tuple[tuple[str, bool], ...]
        Each set point as words, and whether it has been read.
    """

    step: int
    steps: int
    instruction: str
    caution: str | None = None
    button: str | None = None
    other_button: str | None = None
    waiting: str | None = None
    trouble: str | None = None
    ask: Ask | None = None
    is_hands_turn: bool = False
    caught: tuple[tuple[str, bool], ...] = ()
