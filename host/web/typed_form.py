"""The form of a check typed by hand: points a row, errors in words beside the field."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from calibration.conformity import DecisionRule
from calibration.errors import CalibrationError, CurveError
from calibration.resistance.leads import LARGEST_LEADS_OHM
from host.curve_to_find import FIND_OUT
from host.errors import DeskError
from host.points_file import RESISTANCE_COLUMNS, PointsFileError, dead_circuit_of
from host.procedures.sender.hand_check import HandChecks, HandCheckSettings, judged
from host.quantity import resistance_ohm_of, temperature_c_of, written_ohm_of
from host.store.settings import RULES
from host.typed_check import TypedCheck
from host.web.brought_in import BROUGHT_IN, brought_in_errors
from host.web.scale import Scale
from host.web.text_field import take_text

#: Rows of an empty form, how many the button adds, and the most there are.
FIRST_ROWS, MORE_ROWS, MOST_ROWS = 6, 4, 40

_TEXTS = {
    "item": "what is checked",
    "customer": "the customer",
    **BROUGHT_IN,
    "operator": "your name",
    "job": "the job",
}
_FIELDS = (
    *_TEXTS,
    "curve",
    "rule",
    "limit_k",
    "u_temperature_k",
    "u_resistance_percent",
    "meter",
    "leads",
)
_FIRST_POINT_ROW = 2  # the header is row 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedForm:
    """The form as typed, and what could be made of it.

    Attributes
    ----------
    typed : Mapping[str, str]
        Text of each field.
    rows : tuple[tuple[str, str], ...]
        Temperature and resistance of each row, as typed.
    errors : Mapping[str, str]
        Words for each field that cannot be taken; rows under ``temperature_1``, ``resistance_1`` and so on,
        under ``form`` what concerns no field.
    settings : HandCheckSettings or None
        None where anything could not be read.
    check : TypedCheck or None
        The same, judged; None where anything is wrong, or its curve is to be found out.
    """

    typed: Mapping[str, str]
    rows: tuple[tuple[str, str], ...]
    errors: Mapping[str, str] = field(default_factory=dict)
    settings: HandCheckSettings | None = None
    check: TypedCheck | None = None

    def with_more_rows(self) -> "TypedForm":
        """The same with room for more."""
        added = min(MORE_ROWS, MOST_ROWS - len(self.rows))
        return TypedForm(typed=self.typed, rows=(*self.rows, *(("", ""),) * added))


def empty_typed_form(rule: str, again: HandCheckSettings | None = None) -> TypedForm:
    """Form to be filled in, or one filled with what an earlier check had."""
    typed = dict.fromkeys(_FIELDS, "") | {"rule": rule}
    rows: tuple[tuple[str, str], ...] = (("", ""),) * FIRST_ROWS
    if again is not None:
        typed |= {name: str(getattr(again, name, None) or "") for name in _FIELDS}
        if again.meter is not None:
            typed["meter"] = str(again.meter["serial"])
            typed["leads"] = "" if again.leads_ohm is None else f"{again.leads_ohm:g}"
        if again.curve_choice is not None:  # the same readings speak for the same curve, and for no verdict
            typed["curve"] = FIND_OUT
        rows = (*again.typed, ("", ""))
    return TypedForm(typed=typed, rows=rows)


def sent_form(posted: Mapping[str, str]) -> TypedForm:
    """Form as it was sent, unchecked."""
    return TypedForm(
        typed={name: posted.get(name, "").strip() for name in _FIELDS},
        rows=_rows(posted),
    )


def judged_form(
    posted: Mapping[str, str], checks: HandChecks, scale: Scale, meter_of: Callable[[str], Mapping[str, Any]]
) -> TypedForm:
    """Form as it was sent, checked and judged.

    Parameters
    ----------
    posted : Mapping
    checks : HandChecks
    scale : Scale
    meter_of : callable
        Register entry of the meter of a serial; refuses one that nothing may rest on.
    """
    sent = sent_form(posted)
    typed, rows = dict(sent.typed), sent.rows
    errors: dict[str, str] = {}
    _check_texts(typed, errors)
    numbers = {
        "limit_k": _number(typed, "limit_k", 50.0, errors),
        "u_temperature_k": _number(typed, "u_temperature_k", 20.0, errors),
        "u_resistance_percent": _number(typed, "u_resistance_percent", 50.0, errors),
    }
    if typed["rule"] not in RULES:
        errors["rule"] = "Choose a rule from the list."
    meter = _meter(typed, meter_of, errors)
    points_csv, numbered = _points_csv(rows, scale, errors, with_digits=meter["meter"] is not None)
    settings, check = None, None
    if not errors:
        settings = _settings(typed, rows, {**numbers, **meter}, points_csv, checks, errors)
    if settings is not None and settings.is_to_be_found_out:
        _check_points_to_rank(settings, checks, numbered, errors)
    elif settings is not None:
        check = _judged(settings, numbered, errors)
    return TypedForm(typed=typed, rows=rows, errors=errors, settings=settings, check=check)


def _settings(
    typed: Mapping[str, str],
    rows: tuple[tuple[str, str], ...],
    numbers: Mapping[str, Any],
    points_csv: str,
    checks: HandChecks,
    errors: dict[str, str],
) -> HandCheckSettings | None:
    texts: dict[str, Any] = {name: typed[name] for name in _TEXTS}
    try:
        return checks.with_curve(
            typed["curve"],
            rule=DecisionRule(typed["rule"]).value,
            points_csv=points_csv,
            typed=tuple(row for row in rows if any(row)),
            **texts,
            **numbers,
        )
    except CurveError:
        errors["curve"] = "Choose the curve that the sender is meant to follow."
        return None


def _judged(settings: HandCheckSettings, numbered: list[int], errors: dict[str, str]) -> TypedCheck | None:
    """What came of it, or None with what cannot be judged said beside its row."""
    if settings.limit_k is None and not settings.reference.has_tolerance:
        errors["limit_k"] = "This curve was printed without a tolerance: write how far the sender may be off."
        return None
    try:
        check = judged(settings)
    except PointsFileError as error:
        _say_beside_its_row(error, numbered, errors)
    except (DeskError, CalibrationError) as error:
        errors["form"] = str(error)
    else:
        if check.verdict is not None:
            return check
        errors["form"] = check.reason
    return None


def _check_points_to_rank(
    settings: HandCheckSettings, checks: HandChecks, numbered: list[int], errors: dict[str, str]
) -> None:
    """Say beside its row what stands in the way of finding the curve."""
    try:
        checks.curves_found(settings)
    except PointsFileError as error:
        _say_beside_its_row(error, numbered, errors)
    except DeskError as error:
        errors["form"] = str(error)


def _say_beside_its_row(error: PointsFileError, numbered: list[int], errors: dict[str, str]) -> None:
    if error.row is None:
        errors["form"] = str(error)
        return
    column = "resistance" if error.column in RESISTANCE_COLUMNS else "temperature"
    errors[f"{column}_{_row_of(error, numbered)}"] = error.words


def _row_of(error: PointsFileError, numbered: list[int]) -> int:
    index = (error.row or _FIRST_POINT_ROW) - _FIRST_POINT_ROW
    return numbered[min(max(index, 0), len(numbered) - 1)]


def _rows(posted: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    count = sum(f"temperature_{number}" in posted for number in range(1, MOST_ROWS + 1))
    return tuple(
        (posted.get(f"temperature_{number}", "").strip(), posted.get(f"resistance_{number}", "").strip())
        for number in range(1, max(count, FIRST_ROWS) + 1)
    )


def _points_csv(
    rows: tuple[tuple[str, str], ...], scale: Scale, errors: dict[str, str], *, with_digits: bool
) -> tuple[str, list[int]]:
    """Points as a file, and the number of the form's row behind each of its lines.

    Where the meter's certificate counts, so does its last digit: resistances keep the digits as typed.
    """
    lines, numbered = ["temperature_c,resistance_ohm"], []
    for number, (temperature, resistance) in enumerate(rows, start=1):
        if not temperature and not resistance:
            continue
        temperature_c = _temperature_c(temperature, scale, f"temperature_{number}", errors)
        resistance_text = _resistance(resistance, f"resistance_{number}", errors, with_digits)
        lines.append(f"{temperature_c!r},{resistance_text}")
        numbered.append(number)
    if not numbered:
        errors["temperature_1"] = "Type one point a row: a temperature, and the resistance there."
    return "\n".join(lines) + "\n", numbered


def _temperature_c(text: str, scale: Scale, name: str, errors: dict[str, str]) -> float:
    bare = text[-1:].isdigit() or text.endswith(".")
    try:
        return temperature_c_of(text + scale.unit if bare else text)
    except DeskError as error:
        errors[name] = str(error) if text else "Write the temperature beside this resistance."
        return 0.0


def _resistance(text: str, name: str, errors: dict[str, str], with_digits: bool) -> str:
    if text and dead_circuit_of(text) is not None:
        return text
    try:
        return written_ohm_of(text) if with_digits else repr(resistance_ohm_of(text))
    except DeskError as error:
        errors[name] = (
            str(error) if text else "Write the resistance at this temperature, or OL where it is open."
        )
        return "0"


def _meter(
    typed: Mapping[str, str], meter_of: Callable[[str], Mapping[str, Any]], errors: dict[str, str]
) -> dict[str, Any]:
    """The meter that was named, by value, and what its joined leads showed."""
    if not typed["meter"]:
        if typed["leads"]:
            errors["leads"] = "Name the meter: without its certificate nothing is taken off."
        return {"meter": None, "leads_ohm": None}
    content: Mapping[str, Any] | None = None
    try:
        content = dict(meter_of(typed["meter"]))
    except DeskError as error:
        errors["meter"] = str(error)
    if typed["u_resistance_percent"]:
        errors["u_resistance_percent"] = "The certificate of the meter says how sure it is: leave this empty."
    return {"meter": content, "leads_ohm": _leads_ohm(typed["leads"], errors)}


def _leads_ohm(text: str, errors: dict[str, str]) -> float | None:
    if not text:
        return None
    try:
        leads_ohm = float(text)
    except ValueError:
        leads_ohm = -1.0
    if not 0.0 <= leads_ohm <= LARGEST_LEADS_OHM:
        errors["leads"] = (
            f"Write a number of ohms from 0 to {LARGEST_LEADS_OHM:g}; sound leads stay under that. Clean the "
            "clips, or leave it empty."
        )
        return None
    return leads_ohm


def _check_texts(typed: dict[str, str], errors: dict[str, str]) -> None:
    for name, meaning in _TEXTS.items():
        take_text(typed, name, meaning, errors)
    if not typed["item"]:
        errors["item"] = "Write what is checked: it stands on the certificate, for example “sender, tag 7”."
    for name, words in brought_in_errors(typed).items():
        errors.setdefault(name, words)


def _number(typed: Mapping[str, str], name: str, most: float, errors: dict[str, str]) -> float | None:
    text = typed[name]
    if not text:
        return None
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0.0 < number <= most:
        errors[name] = f"Write a number above 0 and up to {most:g}, or leave it empty."
        return None
    return number
