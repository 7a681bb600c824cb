"""The form on which the curve of a run is chosen from its readings."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import g

from calibration.identification import Candidate
from host.curve_to_find import CurveChoice
from host.identification_words import identification_sentence
from host.local_time import local_time
from host.procedures.sender.curve_finding import ChoiceError, CurvesFound
from host.store import Store
from host.web.operator import operator_of
from host.web.text_field import take_text

_WORTH_A_ROW = 0.001
_MOST_LIMIT_K = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveChoiceForm:
    """The ranking, what was typed, and what is wrong with it.

    Attributes
    ----------
    found : CurvesFound
    typed, errors : Mapping[str, str]
    choice : CurveChoice or None
        None where nothing was sent, or it cannot be taken.
    """

    found: CurvesFound
    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    choice: CurveChoice | None = None

    @property
    def rows(self) -> list[Candidate]:
        """Curves worth a row, the likeliest first."""
        return [one for one in self.found.ranked.candidates if one.probability >= _WORTH_A_ROW]

    @property
    def points(self) -> int:
        """How many readings there are."""
        return len(self.found.points)

    @property
    def sentence(self) -> str:
        """What the ranking comes to."""
        return identification_sentence(self.found.ranked)


def empty_choice(found: CurvesFound, limit_k: float | None) -> CurveChoiceForm:
    """Form to be pressed, with the limit that was asked for at the start."""
    return CurveChoiceForm(found=found, typed={"limit_k": "" if limit_k is None else f"{limit_k:g}"})


def sent_choice(posted: Mapping[str, str], found: CurvesFound, store: Store) -> CurveChoiceForm:
    """Form as it was sent, checked."""
    typed = {name: posted.get(name, "").strip() for name in ("curve", "limit_k", "operator")}
    errors: dict[str, str] = {}
    limit_k = _limit_k(typed["limit_k"], errors)
    take_text(typed, "operator", "your name", errors)
    choice = None
    if not errors:
        try:
            choice = found.choice(
                typed["curve"],
                store,
                limit_k=limit_k,
                by=operator_of(typed["operator"]),
                chosen=local_time(store.now(), g.settings.zone),
            )
        except ChoiceError as error:
            errors[error.place] = str(error)
    return CurveChoiceForm(found=found, typed=typed, errors=errors, choice=choice)


def refused(form: CurveChoiceForm, error: ChoiceError) -> CurveChoiceForm:
    """The same with what stood in the way of the choice."""
    return CurveChoiceForm(found=form.found, typed=form.typed, errors={error.place: str(error)})


def _limit_k(text: str, errors: dict[str, str]) -> float | None:
    if not text:
        return None
    try:
        limit_k = float(text)
    except ValueError:
        limit_k = math.nan
    if not 0.0 < limit_k <= _MOST_LIMIT_K:
        errors["limit_k"] = "Write a number of kelvin above 0 and up to 50, for example 2 or 2.5."
        return None
    return limit_k
