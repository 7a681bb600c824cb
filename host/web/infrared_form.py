"""The forms of an infrared check: how it is started, and a shot; errors in words beside the field."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from calibration.errors import CalibrationError
from calibration.infrared.surfaces import known_surface
from host.errors import DeskError
from host.infrared_shot import typed_surface
from host.procedures.infrared.infrared_settings import TARGETS, InfraredSettings
from host.procedures.infrared.set_points import accept_air, accept_set_points
from host.procedures.station_instruments import is_simulated_station
from host.quantity import emissivity_of, temperature_c_of
from host.rig_sensor import cell_emissivity
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.store.register_fields import RegisterFileError
from host.store.register_file import register_entry
from host.store.settings import RULES, Settings
from host.web.brought_in import BROUGHT_IN, brought_in_errors
from host.web.instrument_fields import fields_of
from host.web.instrument_form import in_labels
from host.web.number_in_form import is_number, number_of
from host.web.scale import Scale
from host.web.text_field import take_text

#: The choice that enters a thermometer here in place of one of the register.
ENTERED = "entered"
#: Before the name of a station: its own sensor, or its probe.
STATION = "station:"
_NEWEST_PACKS = 8

_TEXTS = {
    "item": "what is checked",
    "customer": "the customer",
    **BROUGHT_IN,
    "job": "the job",
    "operator": "your name",
    "done": "what was done to it",
}
_REFERENCE_TEXTS = {
    "reference_serial": "its serial",
    "reference_certificate": "its certificate",
    "reference_issuer": "who issued it",
}
_INSTRUMENT_NUMBERS = {
    "resolution_k": (0.001, 10.0),
    "accuracy_k": (0.01, 50.0),
    "accuracy_percent": (0.0, 20.0),
    "distance_to_spot": (0.5, 500.0),
    "smallest_spot_mm": (0.1, 500.0),
    "band_from_um": (0.5, 30.0),
    "band_to_um": (0.5, 30.0),
}
_MAY_BE_EMPTY = frozenset({"accuracy_k", "accuracy_percent", "smallest_spot_mm"})
_USUAL = {
    "resolution_k": "0.1",
    "distance_to_spot": "12",
    "band_from_um": "8",
    "band_to_um": "14",
    "emissivity": "settable",
    "target": "painted_face",
    "surface": "ultra-flat black spray paint",
    "target_mm": "100",
    "distance_mm": "300",
    "set_emissivity": "0.95",
    "reference_resolution_k": "0.1",
}
TARGET_WORDS = {
    "painted_face": "Painted plate, probe in a hole within 2 mm of its face",
    "immersed_cavity": "Cavity in the bath, probe at its wall",
    "taped_face": "Painted plate, contact thermometer taped to its face beside the spot",
}
_FIELDS = (
    *_TEXTS,
    *_INSTRUMENT_NUMBERS,
    "thermometer",
    "serial",
    "emissivity",
    "reference",
    "reference_serial",
    "reference_resolution_k",
    "reference_u_k",
    "reference_certificate",
    "reference_issuer",
    "reference_due",
    "target",
    "surface",
    "target_mm",
    "distance_mm",
    "set_emissivity",
    "air",
    "set_points",
    "limit_k",
    "rule",
    "as_left_of",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedChoice:
    """One line of a list: what is sent, what is read, and whether it may be chosen."""

    value: str
    words: str
    refusal: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredForm:
    """The form as typed, and what could be made of it.

    Attributes
    ----------
    typed : Mapping[str, str]
        Text of each field.
    errors : Mapping[str, str]
        Words for each field that cannot be taken; under ``form`` what concerns no field.
    settings : InfraredSettings or None
        None where anything is wrong.
    """

    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    settings: InfraredSettings | None = None


def empty_form(settings: Settings, scale: Scale, again: InfraredSettings | None = None) -> InfraredForm:
    """Form to be filled in with what is usual, or with what the first check of a thermometer had."""
    typed = dict.fromkeys(_FIELDS, "") | _USUAL | {"rule": settings.rule.value}
    fahrenheit = scale is Scale.FAHRENHEIT
    typed |= {"air": "73" if fahrenheit else "23", "set_points": "115 150 195" if fahrenheit else "45 65 90"}
    if again is not None:
        typed |= {name: again.typed[name] for name in _FIELDS if name in again.typed}
        typed |= {"as_left_of": "", "done": ""}
    return InfraredForm(typed=typed)


def thermometer_choices(store: Store, shop: Settings, today: date) -> tuple[NamedChoice, ...]:
    """Infrared thermometers of the register, sensors of the stations, and one to be entered."""
    return (
        *_of_register(store, InstrumentKind.INFRARED, shop, today),
        NamedChoice(value=ENTERED, words="another one: enter it below"),
        *(
            NamedChoice(value=f"{STATION}{one.station}", words=f"the infrared sensor of {one.station}")
            for one in store.stations.all()
        ),
    )


def reference_choices(store: Store, shop: Settings, today: date) -> tuple[NamedChoice, ...]:
    """Probes of the stations, contact thermometers of the register, and one to be entered."""
    return (
        *(
            NamedChoice(value=f"{STATION}{one.station}", words=f"the probe of {one.station}, read by itself")
            for one in store.stations.all()
        ),
        *_of_register(store, InstrumentKind.WITNESS, shop, today),
        NamedChoice(value=ENTERED, words="a contact thermometer read by hand: enter it below"),
    )


def _of_register(store: Store, kind: InstrumentKind, shop: Settings, today: date) -> tuple[NamedChoice, ...]:
    return tuple(
        NamedChoice(
            value=one.serial,
            words=f"{one.serial}, certificate {one.in_force.certificate}",
            # A thermometer that is to be checked may be past its due date: that is why it is checked.
            refusal=""
            if kind is InstrumentKind.INFRARED
            else one.refusal(today, shop.recalibration_months) or "",
        )
        for one in store.register.standings()
        if one.kind is kind and not one.is_retired
    )


def filled_form(
    posted: Mapping[str, str], *, store: Store, shop: Settings, scale: Scale, today: date
) -> InfraredForm:
    """Form as it was sent, checked."""
    typed = {name: posted.get(name, "").strip() for name in _FIELDS}
    errors: dict[str, str] = {}
    _check_texts(typed, errors)
    made: dict[str, Any] = {name: typed[name] for name in _TEXTS}
    made["instrument"] = _instrument(typed, store, today, errors)
    made["set_emissivity"] = _set_emissivity(typed, store, errors)
    made |= _reference(typed, store, shop, today, errors)
    made |= _target(typed, scale, errors)
    made["set_points_c"] = _set_points(typed["set_points"], scale, made["air_c"], errors)
    made["limit_k"] = _number(typed, "limit_k", 0.01, 50.0, errors) if typed["limit_k"] else None
    made["rule"] = typed["rule"] or shop.rule.value
    made["as_left_of"] = number_of(typed["as_left_of"]) if is_number(typed["as_left_of"]) else None
    if made["rule"] not in RULES:
        errors["rule"] = "Choose a rule from the list."
    if errors:
        return InfraredForm(typed=typed, errors=errors)
    settings = InfraredSettings(**made, typed=typed)
    _check_whole(settings, errors)
    return InfraredForm(typed=typed, errors=errors, settings=None if errors else settings)


def _check_whole(settings: InfraredSettings, errors: dict[str, str]) -> None:
    try:
        settings.accept_plate()
    except CalibrationError as error:
        errors["target_mm"] = str(error)
    try:
        settings.accept_spot()
    except CalibrationError as error:
        errors["distance_mm"] = str(error)
    of_setting = "thermometer" if settings.is_rig_sensor else "set_emissivity"
    try:
        _ = settings.shot  # refuses what no thermometer is set to
        if not settings.is_rig_sensor:
            settings.handheld.set_to(settings.set_emissivity)
    except CalibrationError as error:
        errors.setdefault(of_setting, str(error))
    try:
        _ = settings.kind
    except CalibrationError as error:
        errors.setdefault("surface", str(error))


def _check_texts(typed: dict[str, str], errors: dict[str, str]) -> None:
    for name, meaning in (_TEXTS | _REFERENCE_TEXTS).items():
        take_text(typed, name, meaning, errors)
    if not typed["item"]:
        errors["item"] = (
            "Write what is checked: it stands on the certificate, for example “thermometer, tag 7”."
        )
    if typed["as_left_of"] and not typed["done"]:
        errors["done"] = "Write what was done to it: “emissivity set back to 0.95, lens wiped”."
    for name, words in brought_in_errors(typed).items():
        errors.setdefault(name, words)


def _instrument(
    typed: Mapping[str, str], store: Store, today: date, errors: dict[str, str]
) -> Mapping[str, Any]:
    """The thermometer by value; nothing for a station's own sensor."""
    chosen = typed["thermometer"]
    if chosen.startswith(STATION):
        if typed["reference"] != chosen:
            errors["reference"] = "The sensor of a station is checked by the probe of the same station."
        return {}
    if chosen == ENTERED:
        return _entered(typed, today, errors)
    for one in store.register.standings():
        if one.kind is InstrumentKind.INFRARED and one.serial == chosen and not one.is_retired:
            return dict(one.in_force.content)
    errors["thermometer"] = "Choose a thermometer from the list, or enter one."
    return {}


def _set_emissivity(typed: Mapping[str, str], store: Store, errors: dict[str, str]) -> float:
    """What the thermometer is set to; of a station's sensor what its cell holds, whatever was typed."""
    chosen = typed["thermometer"]
    field = "thermometer" if chosen.startswith(STATION) else "set_emissivity"
    try:
        if chosen.startswith(STATION):
            station = chosen.removeprefix(STATION)
            return cell_emissivity(store.packs.recent(station, _NEWEST_PACKS), station)
        return emissivity_of(typed["set_emissivity"])
    except DeskError as error:
        errors.setdefault(field, str(error))
        return 0.0


def _entered(typed: Mapping[str, str], today: date, errors: dict[str, str]) -> Mapping[str, Any]:
    fields: dict[str, Any] = {
        "kind": "infrared",
        "serial": typed["serial"],
        "certificate": "none, as bought",
        "issuer": "its maker",
        "issued": today,
        "emissivity": "settable",
    }
    if not typed["serial"]:
        errors["serial"] = "Write its serial, or the name it goes by."
    for name, (least, most) in _INSTRUMENT_NUMBERS.items():
        if typed[name] or name not in _MAY_BE_EMPTY:
            fields[name] = _number(typed, name, least, most, errors)
    if typed["emissivity"] != "settable":
        fields["emissivity"] = _number(typed, "emissivity", 0.1, 1.0, errors)
    if errors.keys() & {*_INSTRUMENT_NUMBERS, "serial", "emissivity"}:
        return {}
    try:
        entry = register_entry(fields)
    except RegisterFileError as error:
        said = in_labels(str(error), fields_of(InstrumentKind.INFRARED))
        errors[error.field if error.field in _FIELDS else "form"] = said
        return {}
    return {**fields, "serial": entry.serial, "issued": today.isoformat()}


def _reference(
    typed: Mapping[str, str], store: Store, shop: Settings, today: date, errors: dict[str, str]
) -> dict[str, Any]:
    chosen = typed["reference"]
    months = shop.recalibration_months
    if chosen.startswith(STATION):
        station = chosen.removeprefix(STATION)
        if station not in {one.station for one in store.stations.all()}:
            errors["reference"] = "Choose a station from the list."
            return {}
        try:
            probe = store.register.usable("probe", today=today, months_by_kind=months, station=station)
        except DeskError as error:
            errors["reference"] = str(error)
            return {}
        is_simulated = probe.simulated or is_simulated_station(store, station)
        return {"station": station, "reference": dict(probe.content), "simulated": is_simulated}
    if chosen == ENTERED:
        return {"reference": _entered_reference(typed, today, errors)}
    for one in store.register.standings():
        if one.kind is InstrumentKind.WITNESS and one.serial == chosen and not one.is_retired:
            refusal = one.refusal(today, months)
            if refusal:
                errors["reference"] = refusal
            return {"reference": dict(one.in_force.content), "simulated": one.in_force.simulated}
    errors["reference"] = "Choose what says how hot the target is."
    return {}


def _entered_reference(typed: Mapping[str, str], today: date, errors: dict[str, str]) -> dict[str, Any]:
    """A contact thermometer by the U of its paper over its range; U stands as the limit of its error."""
    if not typed["reference_serial"]:
        errors["reference_serial"] = "Write what it is: its serial, or the name it goes by."
    return {
        "serial": typed["reference_serial"],
        **_paper_of_reference(typed, today, errors),
        "resolution_k": _number(typed, "reference_resolution_k", 0.001, 5.0, errors),
        "accuracy_k": _number(typed, "reference_u_k", 0.01, 10.0, errors),
    }


def _paper_of_reference(typed: Mapping[str, str], today: date, errors: dict[str, str]) -> dict[str, Any]:
    """Certificate, issuer and due date of a contact thermometer; its maker's word where it has none."""
    number, issuer = typed["reference_certificate"], typed["reference_issuer"]
    if bool(number) != bool(issuer):
        lacking = "reference_issuer" if number else "reference_certificate"
        errors.setdefault(lacking, "A certificate has a number and an issuer: write both, or neither.")
    if not number:
        return {"certificate": "none, as bought", "issuer": "its maker"}
    paper: dict[str, Any] = {"certificate": number, "issuer": issuer, "is_certified": True}
    if not typed["reference_due"]:
        return paper
    try:
        due = date.fromisoformat(typed["reference_due"])
    except ValueError:
        errors["reference_due"] = "Write the day as year-month-day: 2027-03-01."
        return paper
    if due < today:
        errors["reference_due"] = (
            f"It was due on {due.isoformat()}: nothing may be calibrated by it until it was calibrated again."
        )
    return paper | {"due": due.isoformat()}


def _target(typed: Mapping[str, str], scale: Scale, errors: dict[str, str]) -> dict[str, Any]:
    made: dict[str, Any] = {"target": typed["target"]}
    if typed["target"] not in TARGETS:
        errors["target"] = "Choose how the target is built."
    elif typed["target"] == "immersed_cavity":
        surface = TARGETS["immersed_cavity"].surface
        made |= {
            "surface_emissivity": surface.emissivity,
            "surface_half_width": surface.half_width,
            "surface_words": f"cavity, emissivity {surface.emissivity:g} ± {surface.half_width:g}",
        }
    else:
        try:
            known_surface(typed["surface"])
            surface_typed = typed_surface(typed["surface"], None)
            made |= {
                "surface_emissivity": surface_typed.surface.emissivity,
                "surface_half_width": surface_typed.surface.half_width,
                "surface_words": surface_typed.words,
            }
        except (DeskError, CalibrationError) as error:
            errors["surface"] = str(error)
    made["target_mm"] = _number(typed, "target_mm", 1.0, 5000.0, errors)
    made["distance_mm"] = _number(typed, "distance_mm", 1.0, 50000.0, errors)
    made["air_c"] = temperature_typed(typed["air"], scale, "air", errors)
    try:
        accept_air(made["air_c"])
    except CalibrationError as error:
        errors.setdefault("air", str(error))
    return made


def _set_points(text: str, scale: Scale, air_c: float, errors: dict[str, str]) -> tuple[float, ...]:
    parts = [part for part in re.split(r"[\s;]+", text) if part]
    points = [temperature_typed(part, scale, "set_points", errors) for part in parts]
    rising = tuple(sorted({round(point, 2) for point in points}))
    if not errors.keys() & {"set_points", "air"}:
        try:
            accept_set_points(rising, air_c=air_c)
        except CalibrationError as error:
            errors["set_points"] = str(error)
    return rising


def temperature_typed(text: str, scale: Scale, name: str, errors: dict[str, str]) -> float:
    """A temperature as typed, in the page's scale where it has no unit of its own. [°C]"""
    bare = text[-1:].isdigit() or text.endswith(".")
    try:
        return temperature_c_of(text + scale.unit if bare else text)
    except DeskError as error:
        errors[name] = str(error) if text else "Write the temperature."
        return 0.0


def _number(typed: Mapping[str, str], name: str, least: float, most: float, errors: dict[str, str]) -> float:
    try:
        number = float(typed[name])
    except ValueError:
        number = float("nan")
    if not least <= number <= most:
        errors[name] = f"Write a number from {least:g} to {most:g}."
        return 0.0
    return number


def named_errors(errors: Mapping[str, str], names: Sequence[str]) -> bool:
    """Whether any of some fields is wrong."""
    return any(name in errors for name in names)
