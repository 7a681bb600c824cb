"""The form that starts a sender check: good defaults, and errors in words beside the field."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from calibration.conformity import DecisionRule
from calibration.curves import CurveError, ReferenceCurve, curve_names, load_curve
from calibration.reference_probe import ReferenceProbe
from calibration.temperature_scale import celsius_from_fahrenheit
from host.curve_to_find import FIND_OUT
from host.procedures.run_kind import RunKind
from host.procedures.sender.sender_check_settings import Course
from host.simulated_bench import SIMULATED_CURVE
from host.store import Store
from host.store.own_curves import OwnCurves
from host.store.settings import RULES, Settings
from host.web.brought_in import BROUGHT_IN, brought_in_errors
from host.web.curve_list import NamedCurve
from host.web.number_in_form import is_number
from host.web.scale import Scale, plain_degrees
from host.web.text_field import take_text
from host.web.trial_choices import trial_choices, value_of
from host.web.typed_number import typed_number

DEFAULT_SET_POINTS_C = (30.0, 60.0, 85.0)
LEAST_SET_POINTS = 3
MOST_SET_POINTS = 12
_TOO_LARGE = 1e6

# A bath is never quite at its set point: so far a default stays inside the ends of a curve.
_INSIDE_K = 2.0
_TEXTS = {
    "item": "what is checked",
    "customer": "the customer",
    **BROUGHT_IN,
    "operator": "your name",
    "done": "what was done to it",
    "job": "the job",
    "connector_notes": "how the connector looks",
}

_CHOICES = (
    "curve",
    "set_points",
    "limit_k",
    "rule",
    "anew",
    "as_left_of",
    "wiring",
    "trials",
    "course",
    "move_connector",
    "scale",
)

#: How a sender may be wired; the words stand on the certificate.
WIRINGS = (
    "",
    "two terminals, body apart",
    "one terminal, body is the return",
    "three terminals, for computer and gauge",
    "four terminals, two senders in one body",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StartForm:
    """The form as typed, and what could be made of it.

    Attributes
    ----------
    typed : Mapping[str, str]
        Text of each field.
    errors : Mapping[str, str]
        Words for each field that cannot be taken; under ``form`` what concerns no field.
    set_points_c : tuple[float, ...]
        [°C]
    limit_k : float or None
        [K]
    rule : DecisionRule
    """

    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    set_points_c: tuple[float, ...] = ()
    limit_k: float | None = None
    rule: DecisionRule = DecisionRule.GUARDED

    def with_error(self, words: str) -> "StartForm":
        """The same with what the desk had to say."""
        return StartForm(typed=self.typed, errors={**self.errors, "form": words})


def curves(own: OwnCurves) -> Mapping[str, ReferenceCurve]:
    """Curves that a sender check can follow: the shop's own, then those of the bench with a tolerance first.

    A curve that judges only at its two printed rows leaves no third temperature to measure at.
    """
    theirs = [kept.curve for kept in own.all()]
    fit = [
        curve
        for curve in (*theirs, *_library())
        if not curve.judges_only_printed_rows or len(curve.rows) >= LEAST_SET_POINTS
    ]
    return {curve.name: curve for curve in fit}


@lru_cache(maxsize=1)
def _library() -> tuple[ReferenceCurve, ...]:
    loaded = (load_curve(name) for name in curve_names())
    return tuple(sorted(loaded, key=lambda curve: not curve.has_tolerance))


def curve_choices(own: OwnCurves) -> tuple[NamedCurve, ...]:
    """Curves with their tolerance in words."""
    return tuple(NamedCurve(name=name, words=_curve_words(curve)) for name, curve in curves(own).items())


def empty_form(
    store: Store, settings: Settings, scale: Scale, asked: Mapping[str, str], *, simulated: bool = False
) -> StartForm:
    """Form to be filled in: what the address asks for, else what the last run here had.

    Which curve a real sender is meant to follow, nobody but its tester knows: none is proposed before the
    first run. A simulated one is meant to follow its own.
    """
    runs = store.runs.of_kind(RunKind.SENDER_CHECK)
    last = runs[-1].settings if runs else {}
    known = curves(store.curves)
    names = tuple(known)
    # A check of the next sender is mostly one of the same curve by the same hands, for another customer.
    curve = next(
        (name for name in (asked.get("curve"), last.get("curve")) if name in names or name == FIND_OUT),
        SIMULATED_CURVE if simulated else "",
    )
    same_curve = last.get("curve") == curve
    limit_k = last.get("limit_k") if same_curve else None
    last_points = last.get("set_points_c") if same_curve else None
    typed = {
        "item": asked.get("item", ""),
        "customer": asked.get("customer", ""),
        **dict.fromkeys(BROUGHT_IN, ""),
        "operator": str(last.get("operator", "")),
        "curve": curve,
        "set_points": " ".join(
            plain_degrees(point, scale).split()[0]
            for point in last_points or default_set_points_c(known.get(curve))
        ),
        "limit_k": "" if limit_k is None else f"{limit_k:g}",
        "rule": settings.rule.value,
        "as_left_of": asked.get("as_left_of", ""),
        "done": "",
        "job": asked.get("job", ""),
        "wiring": str(last.get("wiring", "")) if same_curve else "",
        "connector_notes": "",
        "trials": value_of(last.get("trials", ())),
        "course": str(last.get("course", Course.PLATEAUS)) if same_curve else Course.PLATEAUS.value,
        "move_connector": "yes" if last.get("move_connector") else "",
        "scale": scale.value,
    }
    return StartForm(typed=typed)


def default_set_points_c(curve: ReferenceCurve | None) -> tuple[float, ...]:
    """Temperatures that suit a curve. [°C]"""
    if curve is None:
        return DEFAULT_SET_POINTS_C
    if curve.judges_only_printed_rows:
        return curve.printed_temperatures_c
    low_c = max(curve.valid_from_c + _INSIDE_K, DEFAULT_SET_POINTS_C[0])
    high_c = min(curve.valid_to_c - _INSIDE_K, DEFAULT_SET_POINTS_C[-1])
    if (low_c, high_c) == (DEFAULT_SET_POINTS_C[0], DEFAULT_SET_POINTS_C[-1]):
        return DEFAULT_SET_POINTS_C
    return (float(round(low_c)), float(round((low_c + high_c) / 2.0)), float(round(high_c)))


def filled_form(posted: Mapping[str, str], own: OwnCurves, probe: ReferenceProbe | None) -> StartForm:
    """Form as it was sent, checked."""
    names = (
        *_TEXTS,
        "curve",
        "set_points",
        "limit_k",
        "rule",
        "anew",
        "as_left_of",
        "wiring",
        "trials",
        "course",
        "move_connector",
        "scale",
    )
    typed = {name: posted.get(name, "").strip() for name in names}
    errors: dict[str, str] = {}
    if not is_number(typed["as_left_of"]):
        typed["as_left_of"] = ""
    for name, meaning in _TEXTS.items():
        if name == "done" and not typed["as_left_of"]:
            continue
        take_text(typed, name, meaning, errors)
    _check_texts(typed, errors)
    curve = curves(own).get(typed["curve"])
    if curve is None and typed["curve"] != FIND_OUT:
        errors["curve"] = "Choose a curve from the list."
    if typed["wiring"] not in WIRINGS:
        errors["wiring"] = "Choose a way of wiring from the list."
    if typed["trials"] not in {choice.value for choice in trial_choices()}:
        errors["trials"] = "Choose one of these."
    typed["course"] = typed["course"] or Course.PLATEAUS.value
    if typed["course"] not in set(Course):
        errors["course"] = "Choose one of these."
    elif typed["course"] == Course.LOOP and typed["trials"]:
        errors["trials"] = (
            "Depths, places and currents are read at a held temperature: choose plateaus above, or “usual”."
        )
    limit_k = _limit_k(typed["limit_k"], curve, errors)
    typed["rule"] = typed["rule"] or DecisionRule.GUARDED.value
    if typed["rule"] not in RULES:
        errors["rule"] = "Choose a rule from the list."
    points = _set_points(typed["set_points"], typed["scale"], errors)
    if points and "curve" not in errors:
        _check_points(points, curve, probe, errors)
    rule = DecisionRule.GUARDED if "rule" in errors else DecisionRule(typed["rule"])
    return StartForm(typed=typed, errors=errors, set_points_c=points, limit_k=limit_k, rule=rule)


def _curve_words(curve: ReferenceCurve) -> str:
    tolerance = curve.tolerance if curve.has_tolerance else "no printed tolerance, needs a limit"
    rows = ", judges only at " + _listed(curve) if curve.judges_only_printed_rows else ""
    return f"{curve.name}, {tolerance}{rows} ({curve.title})"


def _listed(curve: ReferenceCurve) -> str:
    return " and ".join(f"{point:g} °C" for point in curve.printed_temperatures_c)


def _check_texts(typed: Mapping[str, str], errors: dict[str, str]) -> None:
    if typed["as_left_of"] and not typed["done"]:
        errors["done"] = (
            "Write what was done to the sender since it was found: “terminals cleaned and dried”."
        )
    if not typed["item"]:
        errors["item"] = "Write what is checked: it stands on the certificate, for example “sender, tag 7”."
    for name, words in brought_in_errors(typed).items():
        errors.setdefault(name, words)


def _limit_k(text: str, curve: ReferenceCurve | None, errors: dict[str, str]) -> float | None:
    if not text:
        if curve is not None and not curve.has_tolerance:
            errors["limit_k"] = (
                "This curve was printed without a tolerance: write how far the sender may be off, in kelvin."
            )
        return None
    limit_k = typed_number(text, below=_TOO_LARGE)
    if limit_k is None or not 0.0 < limit_k <= 50.0:
        errors["limit_k"] = "Write a number of kelvin above 0 and up to 50, for example 2 or 2.5."
        return None
    return limit_k


def _set_points(text: str, scale: str, errors: dict[str, str]) -> tuple[float, ...]:
    if re.search(r"\d,\d", text):
        # 30,5 may be one temperature or two: never guess
        errors["set_points"] = "Write decimals with a point and set points with spaces between: 30.5 60 85."
        return ()
    numbers = [typed_number(part, below=_TOO_LARGE) for part in re.split(r"[\s,;]+", text) if part]
    if any(number is None for number in numbers):
        errors["set_points"] = "Write numbers with spaces between them, for example 25 60 90."
        return ()
    found = [number for number in numbers if number is not None]
    if scale == Scale.FAHRENHEIT:
        found = [round(celsius_from_fahrenheit(number), 2) for number in found]
    points = tuple(sorted(set(found)))
    if not LEAST_SET_POINTS <= len(points) <= MOST_SET_POINTS:
        errors["set_points"] = (
            f"A sender check takes {LEAST_SET_POINTS} to {MOST_SET_POINTS} different temperatures; "
            f"there are {len(points)} here."
        )
        return ()
    return points


def _check_points(
    points: tuple[float, ...],
    curve: ReferenceCurve | None,
    probe: ReferenceProbe | None,
    errors: dict[str, str],
) -> None:
    for point in points:
        if probe is not None and not probe.covers(point):
            errors["set_points"] = (
                f"The probe's certificate covers {probe.valid_from_c:g} to {probe.valid_to_c:g} °C; "
                f"{point:g} °C is outside."
            )
            return
        if curve is None:
            continue
        try:
            curve.limits_ohm(point) if curve.has_tolerance else curve.resistance_ohm(point)
        except CurveError as error:
            errors["set_points"] = str(error)
            return
