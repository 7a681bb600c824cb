"""The form that adds an instrument or its next certificate: what was typed, and the entry it makes."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from calibration.temperature_scale import celsius_from_fahrenheit
from host.store.instrument_kind import InstrumentKind
from host.store.register_file import RegisterEntry, RegisterFileError, read_register_file, register_entry
from host.web.instrument_fields import Entry, FormField, fields_of
from host.web.scale import Scale

AS_BOUGHT = "none, as bought"
_MAKER = "its maker"
_USUAL = {"k": "2", "band_from_um": "8", "band_to_um": "14"}


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentForm:
    """The form as typed, and what could be made of it.

    Attributes
    ----------
    kind : InstrumentKind or None
        None where a whole file was pasted.
    typed : Mapping[str, str]
    errors : Mapping[str, str]
        Words by field; under ``form`` what concerns no field.
    entry : RegisterEntry or None
        Where nothing is wrong.
    """

    kind: InstrumentKind | None
    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    entry: RegisterEntry | None = None

    @property
    def fields(self) -> tuple[FormField, ...]:
        """Fields of the kind."""
        return () if self.kind is None else fields_of(self.kind)


class _TypedError(Exception):
    """A field that cannot be read; its words."""


def empty_form(kind: InstrumentKind, scale: Scale, asked: Mapping[str, str]) -> InstrumentForm:
    """Form to be filled in; serial and station of an instrument known already may come with the address."""
    typed = {one.name: _USUAL.get(one.name, "") for one in fields_of(kind)}
    known = {name: asked.get(name, "") for name in ("serial", "station")}
    return InstrumentForm(kind=kind, typed={**typed, **known, "scale": scale.value})


def filled_form(kind: InstrumentKind, posted: Mapping[str, str]) -> InstrumentForm:
    """Form as it was sent, checked."""
    fields = fields_of(kind)
    typed = {one.name: posted.get(one.name, "").strip() for one in fields}
    typed["scale"] = posted.get("scale", Scale.CELSIUS.value)
    fahrenheit = typed["scale"] == Scale.FAHRENHEIT.value
    read: dict[str, Any] = {"kind": kind.value}
    errors: dict[str, str] = {}
    for one in fields:
        try:
            value = _read(one, typed[one.name], fahrenheit)
        except _TypedError as error:
            errors[one.name] = str(error)
        else:
            if value is not None:
                read[one.name] = value
    if errors:
        return InstrumentForm(kind=kind, typed=typed, errors=errors)
    try:
        entry = register_entry(_completed(kind, read))
    except RegisterFileError as error:
        named = error.field if error.field in typed else "form"
        return InstrumentForm(kind=kind, typed=typed, errors={named: in_labels(str(error), fields)})
    return InstrumentForm(kind=kind, typed=typed, entry=entry)


def pasted_form(text: str) -> InstrumentForm:
    """A whole register file, checked."""
    try:
        return InstrumentForm(kind=None, typed={"file": text}, entry=read_register_file(text))
    except RegisterFileError as error:
        return InstrumentForm(kind=None, typed={"file": text}, errors={"file": str(error)})


def _completed(kind: InstrumentKind, read: Mapping[str, Any]) -> Mapping[str, Any]:
    """What a form leaves unsaid: its maker's word in place of a certificate, the one model there is."""
    said: dict[str, Any] = {"certificate": AS_BOUGHT, "issuer": _MAKER, **read}
    if not said.get("adjusted", True):
        del said["adjusted"]
    if kind is InstrumentKind.PROBE:
        said["model"] = "steinhart_hart"
    if kind is InstrumentKind.INFRARED:
        said.setdefault("emissivity", "settable")
    if kind.is_thermometer and "point" not in said:
        said.pop("k", None)
    return said


def _read(one: FormField, text: str, fahrenheit: bool) -> Any:
    if one.entry is Entry.TICK:
        return bool(text)
    if not text:
        if one.needed:
            raise _TypedError(f"Write this from the paper. {one.hint}".strip())
        return None
    match one.entry:
        case Entry.TEXT:
            return text
        case Entry.DAY:
            return _day(text)
        case Entry.ROWS:
            return _rows(one, text, fahrenheit)
        case Entry.PERCENT:
            return _number(text) / 100.0
        case Entry.TEMPERATURE:
            return _celsius(_number(text), fahrenheit)
        case _:
            return _number(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise _TypedError(f"Write the date as year-month-day, 2025-03-01, not {text!r:.20}.") from error


def _rows(one: FormField, text: str, fahrenheit: bool) -> list[dict[str, float]]:
    rows = []
    for line_number, line in enumerate((part for part in text.splitlines() if part.strip()), start=1):
        if re.search(r"\d,\d", line):
            # 30,5 may be one number or two: never guess
            raise _TypedError(f"Line {line_number}: write decimals with a point and spaces between numbers.")
        cells = re.split(r"[\s;,]+", line.strip())
        if not len(one.columns) - one.may_lack <= len(cells) <= len(one.columns):
            raise _TypedError(f"Line {line_number} has {len(cells)} numbers. {one.hint}")
        try:
            row = dict(zip(one.columns, (_number(cell) for cell in cells), strict=False))
        except _TypedError as error:
            raise _TypedError(f"Line {line_number}: {error}") from error
        for name in ("temperature_c", "shown_c"):
            if name in row:
                row[name] = _celsius(row[name], fahrenheit)
        rows.append(row)
    return rows


def _celsius(degrees: float, fahrenheit: bool) -> float:
    return round(celsius_from_fahrenheit(degrees), 6) if fahrenheit else degrees


def _number(text: str) -> float:
    try:
        number = float(text.replace("\u2212", "-"))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise _TypedError(f"{text!r:.20} is no number. Write decimals with a point, small ones as 1.129e-3.")
    return number


def in_labels(words: str, fields: tuple[FormField, ...]) -> str:
    """Words of the file's refusal with the labels that the form shows."""
    for one in fields:
        if "_" in one.name:
            words = re.sub(rf"\b{one.name}\b", f"“{one.label}”", words)
    return words
