"""How thorough a sender check is asked to be: the usual way, the thorough one, or one trial alone."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from host.procedures.sender.trials import TRIAL_WORDS, Trial, minutes_of

_ALL = "all"

_TRIAL_HINTS = {
    Trial.CURRENTS: "How much the reading current warms the sender. Nothing to do by hand.",
    Trial.DEPTHS: "How much heat leaves through the stem: mostly the largest part of U.",
    Trial.PLACES: "How much the water differs between probe and sender.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialChoice:
    """One way of being thorough, as the form offers it."""

    value: str
    words: str
    hint: str
    is_single: bool = False


def trial_choices() -> tuple[TrialChoice, ...]:
    """The usual way, the thorough one, and each trial alone."""
    usual = TrialChoice(
        value="",
        words="Usual: about 9 minutes a temperature",
        hint="Stem, gradient and self-heating are taken from assumed spans.",
    )
    thorough = TrialChoice(
        value=_ALL,
        words=f"Thorough: {_minutes_more(Trial)}, smaller U",
        hint="Two currents, two depths, probe and sender swapped, at the hottest temperature. You work at "
        "the hot jug three times.",
    )
    single = tuple(
        TrialChoice(
            value=trial.value,
            words=f"{words.capitalize()}: {_minutes_more([trial])}",
            hint=_TRIAL_HINTS[trial],
            is_single=True,
        )
        for trial, words in TRIAL_WORDS.items()
    )
    return (usual, thorough, *single)


def trials_of(value: str) -> tuple[str, ...]:
    """Trials that a choice of the form means."""
    if value == _ALL:
        return tuple(Trial)
    return (Trial(value).value,) if value else ()


def value_of(trials: Sequence[str]) -> str:
    """Choice of the form that means these trials; the usual way where none does."""
    if len(trials) == len(Trial):
        return _ALL
    return trials[0] if len(trials) == 1 else ""


def _minutes_more(trials: Iterable[str]) -> str:
    return f"about {math.ceil(minutes_of(trials))} minutes more"
