"""The form of a check of a meter or a box: what was typed, and the settings it makes."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from host.certificates.printable import printable_text
from host.errors import DeskError
from host.procedures.ohms.dial_rows import dial_rows_of, joined_leads_of
from host.procedures.ohms.meter_check import MeterCheckSettings, Subject, points_of
from host.quantity import temperature_c_of
from host.store import Store
from host.store.settings import Settings
from host.web.instrument_choice import InstrumentChoice
from host.web.text_field import take_text

#: Field by which the reference is chosen, by the kind it is.
AGAINST = {one: f"against_{one.value}" for one in Subject}
FIELDS = (
    "subject",
    *AGAINST.values(),
    "serial",
    "leads",
    "rows",
    "moved_percent",
    "limit_percent",
    "limit_ohm",
    "air",
    "operator",
)
_LONGEST_SERIAL = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterCheckForm:
    """The form as typed.

    Attributes
    ----------
    typed : Mapping[str, str]
    errors : Mapping[str, str]
        Words by field; under ``form`` what concerns no field.
    settings : MeterCheckSettings or None
        Where nothing is wrong.
    """

    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    settings: MeterCheckSettings | None = None


def references_of(store: Store) -> dict[Subject, InstrumentChoice]:
    """Instruments that may be the reference, by the kind they are."""
    standings = store.register.standings()
    return {one: InstrumentChoice.of(standings, one.value) for one in Subject}


def empty_meter_form(asked: Mapping[str, str], store: Store) -> MeterCheckForm:
    """Form to be filled in; what is calibrated, and at which station, may come with the address."""
    typed = dict.fromkeys(FIELDS, "")
    typed["subject"] = asked.get("subject", Subject.METER.value)
    typed["serial"] = asked.get("serial", "")
    for kind, choice in references_of(store).items():
        typed[AGAINST[kind]] = choice.proposed(station=asked.get("station", ""))
    return MeterCheckForm(typed=typed)


def filled_meter_form(
    posted: Mapping[str, str], *, store: Store, shop: Settings, today: date
) -> MeterCheckForm:
    """Form as it was sent, checked."""
    typed = {name: posted.get(name, "").strip() for name in FIELDS}
    errors: dict[str, str] = {}

    def read(name: str, of: Callable[[str], Any]) -> Any:
        try:
            return of(typed[name])
        except DeskError as error:
            errors[name] = str(error)
            return None

    take_text(typed, "operator", "your name", errors)
    subject = read("subject", _subject)
    serial = read("serial", _serial)
    rows, leads = read("rows", dial_rows_of), read("leads", joined_leads_of)
    numbers = {name: read(name, _share) for name in ("moved_percent", "limit_percent", "limit_ohm")}
    air_c = read("air", lambda text: temperature_c_of(text) if text else None)
    reference: Mapping[str, Any] = {}
    if subject is not None:
        reference = _reference(subject.reference, typed, errors, store=store, shop=shop, today=today)
    if errors:
        return MeterCheckForm(typed=typed, errors=errors)
    settings = MeterCheckSettings(
        subject=subject,
        serial=serial,
        reference=dict(reference),
        rows=rows,
        leads=leads,
        air_c=air_c,
        rule=shop.rule.value,
        operator=typed["operator"],
        day=today.isoformat(),
        **numbers,
    )
    try:
        points_of(settings)
    except DeskError as error:
        return MeterCheckForm(typed=typed, errors={"rows": str(error)})
    return MeterCheckForm(typed=typed, settings=settings)


def _reference(
    kind: Subject,
    typed: Mapping[str, str],
    errors: dict[str, str],
    *,
    store: Store,
    shop: Settings,
    today: date,
) -> Mapping[str, Any]:
    """The reference that was chosen, with its certificate in force; nothing where none may serve."""
    choice = references_of(store)[kind]
    try:
        chosen = choice.chosen(typed[AGAINST[kind]])
        return store.register.usable_one(
            kind.value, chosen.serial, today=today, months_by_kind=shop.recalibration_months
        ).content
    except DeskError as error:
        errors[AGAINST[kind] if len(choice.standings) > 1 else "form"] = str(error)
        return {}


def _subject(text: str) -> Subject:
    if text not in tuple(Subject):
        raise DeskError("Choose which of the two is calibrated.")
    return Subject(text)


def _serial(text: str) -> str:
    serial = printable_text(text, "the serial", longest=_LONGEST_SERIAL)
    if not serial:
        raise DeskError("Write the serial, or the name it goes by.")
    return serial


def _share(text: str) -> float:
    if not text:
        return 0.0
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value <= 1000.0:
        raise DeskError("Write a number from 0, with a point for decimals, or nothing.")
    return value
