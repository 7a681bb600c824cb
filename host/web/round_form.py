"""The forms of a round: how it is started, and a result typed by hand; errors in words beside the field."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from calibration.comparison import ComparisonError
from calibration.station_round import StatedValue
from host.errors import DeskError
from host.people.account import name_key
from host.procedures.rounds.artefact_value import artefact_value
from host.procedures.rounds.finished_checks import certified_error
from host.procedures.rounds.station_round import MOST_STATIONS
from host.procedures.rounds.station_round_settings import Quantity, StationRoundSettings
from host.quantity import resistance_ohm_of, temperature_c_of
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding
from host.store.settings import Settings
from host.web.curve_list import every_curve
from host.web.scale import Scale
from host.web.text_field import take_text

#: Where the reference comes from.
NONE, TYPED, CERTIFICATE, REGISTER = "none", "typed", "certificate", "register"
#: A station's name stands in strips and charts.
LONGEST_STATION = 40
QUANTITY_WORDS = {
    Quantity.ERROR: "A sender: its error at one temperature, in K",
    Quantity.TEMPERATURE: "A temperature: all read the same bath",
    Quantity.RESISTANCE: "A fixed resistor, in Ω",
}
REFERENCE_WORDS = {
    REGISTER: "an artefact of the register",
    CERTIFICATE: "an issued certificate of that sender",
    TYPED: "typed here with its source",
    NONE: "none: station against station",
}
_TEXTS = {
    "artefact": "what goes round",
    "kept": "how it is carried",
    "operator": "your name",
    "job": "the job",
    "reference_words": "where the reference comes from",
}
_FIELDS = (
    *_TEXTS,
    "quantity",
    "at",
    "curve",
    "reference_way",
    "reference_value",
    "reference_u",
    "reference_k",
    "reference_certificate",
    "reference_serial",
    "more_stations",
    "read_by",
)
RESULT_FIELDS = ("station", "value", "expanded_u", "k", "words")
#: So far a nominal value may be from the certified one. [1]
_NOMINAL_WITHIN = 1e-3
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundForm:
    """A form as typed, and what could be made of it.

    Attributes
    ----------
    typed : Mapping[str, str]
        Text of each field.
    stations : frozenset[str]
        Stations of the desk that are ticked.
    errors : Mapping[str, str]
        Words for each field that cannot be taken; under ``form`` what concerns no field.
    settings : StationRoundSettings or None
        None where anything is wrong.
    """

    typed: Mapping[str, str]
    stations: frozenset[str] = frozenset()
    errors: Mapping[str, str] = field(default_factory=dict)
    settings: StationRoundSettings | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultForm:
    """A result as typed; ``stated`` is None where anything is wrong."""

    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)
    stated: StatedValue | None = None


def empty_form(store: Store, *, serial: str = "") -> RoundForm:
    """Form to be filled in, by an artefact of the register where it is named; every station is ticked."""
    typed = dict.fromkeys(_FIELDS, "") | {
        "quantity": Quantity.ERROR.value,
        "reference_way": REGISTER if artefacts(store) else CERTIFICATE,
        "reference_k": "2",
    }
    for one in artefacts(store):
        if one.serial == serial:
            typed |= _of_artefact(one)
    return RoundForm(typed=typed, stations=frozenset(one.station for one in store.stations.all()))


def _of_artefact(standing: InstrumentStanding) -> dict[str, str]:
    """What the certificate of an artefact says of the round it goes on."""
    content = standing.in_force.content
    said = {
        "artefact": standing.serial,
        "reference_way": REGISTER,
        "reference_serial": standing.serial,
    }
    if "resistance_ohm" in content:
        return said | {
            "quantity": Quantity.RESISTANCE.value,
            "at": nominal_text(float(content["resistance_ohm"])),
        }
    return said | {"quantity": Quantity.ERROR.value, "curve": str(content["curve"])}


def nominal_text(resistance_ohm: float) -> str:
    """Nominal value in plain digits, without an exponent: the fewest that keep it within 0.1 %.

    Parameters
    ----------
    resistance_ohm : float
        [Ω]
    """
    short = (float(f"{resistance_ohm:.{digits}g}") for digits in range(1, 5))
    nominal = next(one for one in short if abs(one - resistance_ohm) <= _NOMINAL_WITHIN * resistance_ohm)
    return f"{nominal:.10f}".rstrip("0").rstrip(".")


def artefacts(store: Store) -> tuple[InstrumentStanding, ...]:
    """Artefacts of the register that are not retired."""
    return tuple(
        one
        for one in store.register.standings()
        if one.kind is InstrumentKind.ARTEFACT and not one.is_retired
    )


def filled_form(
    posted: Mapping[str, str],
    ticked: Sequence[str],
    *,
    store: Store,
    shop: Settings,
    scale: Scale,
    today: date,
) -> RoundForm:
    """Form as it was sent, checked."""
    typed = {name: posted.get(name, "").strip() for name in _FIELDS}
    errors: dict[str, str] = {}
    for name, meaning in _TEXTS.items():
        take_text(typed, name, meaning, errors)
    if not typed["artefact"]:
        errors["artefact"] = "Write what goes round, as it is to stand on the paper: “sender, tag 300”."
    quantity = _quantity(typed, errors)
    made: dict[str, Any] = {name: typed[name] for name in ("artefact", "kept", "operator", "job")}
    made |= {"quantity": quantity, "at": _at(typed["at"], quantity, scale, errors)}
    made["curve"] = _curve(typed, quantity, store, errors)
    made["stations"] = _stations(typed, ticked, errors)
    made["read_by"] = _read_by(typed["read_by"], today, errors)
    if typed["reference_way"] == REGISTER:
        made |= _registered(typed["reference_serial"], made, store, shop, today, errors)
    else:
        made |= _reference(typed, made, store, scale, errors)
    return RoundForm(
        typed=typed,
        stations=frozenset(ticked),
        errors=errors,
        settings=None if errors else StationRoundSettings(**made),
    )


def filled_result(posted: Mapping[str, str], quantity: Quantity, scale: Scale) -> ResultForm:
    """A typed result, checked."""
    typed = {name: posted.get(name, "").strip() for name in RESULT_FIELDS}
    errors: dict[str, str] = {}
    take_text(typed, "station", "the station", errors, longest=LONGEST_STATION)
    if not typed["station"]:
        errors["station"] = "Write or choose which station it is."
    take_text(typed, "words", "where it stands", errors)
    stated = _stated(
        (typed["value"], typed["expanded_u"], typed["k"]),
        ("value", "expanded_u", "k"),
        quantity,
        scale,
        errors,
    )
    return ResultForm(typed=typed, errors=errors, stated=None if errors else stated)


def _quantity(typed: Mapping[str, str], errors: dict[str, str]) -> Quantity:
    if typed["quantity"] in tuple(Quantity):
        return Quantity(typed["quantity"])
    errors["quantity"] = "Choose what is compared."
    return Quantity.ERROR


def _at(text: str, quantity: Quantity, scale: Scale, errors: dict[str, str]) -> float:
    if quantity is Quantity.RESISTANCE:
        return _read(text, resistance_ohm_of, "at", errors, "Write its nominal value: 1k.")
    return _read(text, lambda said: _temperature_c(said, scale), "at", errors, "Write the temperature.")


def _temperature_c(text: str, scale: Scale) -> float:
    bare = text[-1:].isdigit() or text.endswith(".")
    return temperature_c_of(text + scale.unit if bare else text)


def _read(text: str, reader: Callable[[str], float], name: str, errors: dict[str, str], empty: str) -> float:
    try:
        return reader(text)
    except DeskError as error:
        errors[name] = str(error) if text else empty
        return 1.0


def _curve(typed: Mapping[str, str], quantity: Quantity, store: Store, errors: dict[str, str]) -> str:
    if quantity is not Quantity.ERROR:
        return ""
    if typed["curve"] not in {one.name for one in every_curve(store)}:
        errors["curve"] = "Choose the curve by which every station tells the error."
    return typed["curve"]


def _stations(typed: Mapping[str, str], ticked: Sequence[str], errors: dict[str, str]) -> tuple[str, ...]:
    by_key: dict[str, str] = {}
    for one in (*ticked, *typed["more_stations"].split(",")):
        station = {"more_stations": one}
        take_text(station, "more_stations", "a station", errors, longest=LONGEST_STATION)
        if name := station["more_stations"]:
            by_key.setdefault(name_key(name), name)
    stations = tuple(by_key.values())
    if len(stations) > MOST_STATIONS:
        errors["more_stations"] = f"A round has room for {MOST_STATIONS} stations; these are {len(stations)}."
    return stations


def _read_by(text: str, today: date, errors: dict[str, str]) -> str:
    if not text:
        return ""
    try:
        last = date.fromisoformat(text)
    except ValueError:
        errors["read_by"] = "Write the day as 2031-05-17, or leave it empty."
        return ""
    if last < today:
        errors["read_by"] = "That day is over: every result would be late."
    return last.isoformat()


def _reference(
    typed: Mapping[str, str], made: Mapping[str, Any], store: Store, scale: Scale, errors: dict[str, str]
) -> dict[str, Any]:
    way, quantity = typed["reference_way"], made["quantity"]
    if way == NONE:
        return {}
    if way == CERTIFICATE:
        return _certified(typed["reference_certificate"], made, store, errors)
    if way != TYPED:
        errors["reference_way"] = "Choose where the reference comes from."
        return {}
    if not typed["reference_words"]:
        errors["reference_words"] = "Write where it comes from: whose certificate, of which day."
    stated = _stated(
        (typed["reference_value"], typed["reference_u"], typed["reference_k"]),
        ("reference_value", "reference_u", "reference_k"),
        quantity,
        scale,
        errors,
    )
    return {"reference": stated, "reference_words": typed["reference_words"]}


def _registered(
    serial: str,
    made: Mapping[str, Any],
    store: Store,
    shop: Settings,
    today: date,
    errors: dict[str, str],
) -> dict[str, Any]:
    """Reference by an artefact's certificate, refused where nothing may rest on it."""
    found = next((one for one in artefacts(store) if one.serial == serial), None)
    if found is None:
        errors["reference_serial"] = "Choose an artefact of the register."
        return {}
    refusal = found.refusal(today, shop.recalibration_months)
    if refusal:
        errors["reference_serial"] = refusal
        return {}
    if {"at", "curve", "quantity"} & errors.keys():
        return {}
    entry = found.in_force
    try:
        stated, where = artefact_value(entry.content, made["quantity"], curve=made["curve"], at=made["at"])
    except DeskError as error:
        errors["reference_serial"] = str(error)
        return {}
    return {
        "reference": stated,
        "reference_words": f"certificate {entry.certificate} of {entry.serial}, {entry.issuer}{where}",
        "reference_entry": dict(entry.content),
        "simulated": entry.simulated,
    }


def _certified(number: str, made: Mapping[str, Any], store: Store, errors: dict[str, str]) -> dict[str, Any]:
    if made["quantity"] is not Quantity.ERROR:
        errors["reference_way"] = "A certificate of this desk holds the error of a sender: type this value."
        return {}
    if not number:
        errors["reference_certificate"] = "Write the number of the certificate."
        return {}
    if {"at", "curve"} & errors.keys():
        return {}
    try:
        found = certified_error(store, number, curve=made["curve"], at_c=made["at"])
    except DeskError as error:
        errors["reference_certificate"] = str(error)
        return {}
    where = f" at {found.station}" if found.station else ""
    return {
        "reference": found.stated,
        "reference_run": found.run,
        "reference_station": found.station,
        "reference_words": f"{found.paper}{where}, read at {found.temperature_c:.1f} °C",
        "simulated": found.is_simulated,
    }


def _stated(
    texts: tuple[str, str, str],
    names: tuple[str, str, str],
    quantity: Quantity,
    scale: Scale,
    errors: dict[str, str],
) -> StatedValue | None:
    """Value, U and k as typed; differences are in kelvin whatever the scale of the page."""
    before = len(errors)
    unit = quantity.difference_unit
    if quantity is Quantity.RESISTANCE:
        value = _read(texts[0], resistance_ohm_of, names[0], errors, "Write the resistance.")
        expanded_u = _read(texts[1], resistance_ohm_of, names[1], errors, "Write U in Ω.")
    else:
        if quantity is Quantity.TEMPERATURE:
            value = _read(
                texts[0], lambda said: _temperature_c(said, scale), names[0], errors, "Write the temperature."
            )
        else:
            value = _plain(texts[0], names[0], errors, "Write the error in K, indicated minus true: -0.12.")
        expanded_u = _plain(texts[1], names[1], errors, f"Write U in {unit}: 0.12.")
    k = _plain(texts[2] or "2", names[2], errors, "Write k: 2.")
    if len(errors) > before:
        return None
    try:
        return StatedValue(value=value, expanded_u=expanded_u, k=k)
    except ComparisonError as error:
        errors[names[2] if str(error).startswith("k ") else names[1]] = str(error)
        return None


def _plain(text: str, name: str, errors: dict[str, str], words: str) -> float:
    plain = text.replace("\N{MINUS SIGN}", "-").removesuffix("K").strip()
    if not _NUMBER.fullmatch(plain):
        errors[name] = words
        return 0.0
    return float(plain)
