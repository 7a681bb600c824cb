"""The forms of a comparison on the vehicle: what was typed into an event, or words beside the field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from calibration.curves import ReferenceCurve
from calibration.errors import CalibrationError
from calibration.infrared.surfaces import KnownSurface, known_surfaces
from calibration.vehicle.dial import dial_row
from calibration.vehicle.dialled_box import DialledBox
from calibration.vehicle.in_place import Thermostat
from calibration.vehicle.shown_value import Display
from host.errors import DeskError
from host.in_place_readings import TypedReading, display_of, gauge_reading, scan_reading, spot_reading
from host.infrared_shot import typed_surface
from host.procedures.vehicle.in_place import Kind, Step
from host.quantity import QuantityError, emissivity_of, resistance_ohm_of, temperature_c_of
from host.spot_thermometer import AS_BOUGHT, SpotThermometer, chosen_thermometer

#: What the computer is made to show first: where coolant is in a warm engine. [°C]
SHOW_C = 90.0
#: A substitution box as it is bought.
BOX = DialledBox()

_SPOTS = frozenset({Step.HEAD, Step.OUTLET_HOSE, Step.RETURN_HOSE})
_BOXES = frozenset({Step.BOX_AT_COMPUTER, Step.BOX_AT_PLUG})
_TAPE, _RUBBER = "vinyl electrical tape", "rubber"

_USUAL: Mapping[str, str] = {"set_emissivity": "0.95", "surroundings": "40"}


@dataclass(frozen=True, slots=True, kw_only=True)
class StepForm:
    """A form of one step, as typed.

    Attributes
    ----------
    step : Step or None
    typed : Mapping[str, str]
        Text of each field.
    errors : Mapping[str, str]
        Words for each field that cannot be taken; under ``form`` what concerns no field.
    """

    step: Step | None
    typed: Mapping[str, str]
    errors: Mapping[str, str] = field(default_factory=dict)

    @property
    def fields(self) -> str:
        """Which fields it has: thermostat, display, spot or box; empty at the end."""
        if self.step is None:
            return ""
        if self.step in _SPOTS:
            return "spot"
        if self.step in _BOXES:
            return "box"
        return "thermostat" if self.step is Step.THERMOSTAT else "display"


def empty_step_form(step: Step | None, curve: ReferenceCurve, last: Mapping[str, str]) -> StepForm:
    """Form to be filled in, with what is usual or was typed last."""
    typed = {**_USUAL, **last, "surface": _TAPE if step is Step.HEAD else _RUBBER}
    if step in _BOXES and not last.get("setting"):
        typed["setting"] = _suggested(curve)
    return StepForm(step=step, typed=typed)


def surfaces() -> tuple[KnownSurface, ...]:
    """Surfaces that a spot can be read on, one of a name, for the usual thermometer band."""
    kept: dict[str, KnownSurface] = {}
    for row in known_surfaces():
        try:
            usable = row.surface is not None
        except CalibrationError:
            usable = False  # a mirror
        if usable and row.name not in kept and row.spectrum.startswith("8"):
            kept[row.name] = row
    return tuple(sorted(kept.values(), key=lambda row: -row.emissivity))


def event_of(
    step: Step,
    typed: Mapping[str, str],
    *,
    curve: ReferenceCurve,
    unit: str,
    thermometers: Sequence[SpotThermometer] = (AS_BOUGHT,),
) -> StepForm | tuple[Kind, dict[str, Any]]:
    """Event that a filled form makes, or the form again with its errors.

    Parameters
    ----------
    step : Step
    typed : Mapping[str, str]
    curve : ReferenceCurve
        What the computer is taken to hold.
    unit : str
        ``C`` or ``F``, where a number was typed without one.
    thermometers : sequence of SpotThermometer
        Those that a spot may have been read with.
    """
    errors: dict[str, str] = {}
    form = StepForm(step=step, typed=typed, errors=errors)
    made: tuple[Kind, dict[str, Any]] | None
    match form.fields:
        case "thermostat":
            made = _thermostat(typed, errors)
        case "display":
            made = _display(step, typed, curve, unit, errors)
        case "spot":
            made = _spot(step, typed, unit, thermometers, errors)
        case _:
            made = _box(step, typed, curve, unit, errors)
    return form if errors or made is None else made


def _thermostat(typed: Mapping[str, str], errors: dict[str, str]) -> tuple[Kind, dict[str, Any]] | None:
    word = typed.get("thermostat", "")
    if word not in tuple(Thermostat):
        errors["thermostat"] = "Choose one of the three: “unknown” is an answer too."
        return None
    return Kind.THERMOSTAT_SEEN, {"thermostat": word}


def _display(
    step: Step, typed: Mapping[str, str], curve: ReferenceCurve, unit: str, errors: dict[str, str]
) -> tuple[Kind, dict[str, Any]] | None:
    text = _with_unit(typed.get("shown", ""), unit)
    try:
        reading = scan_reading(text, curve) if step is Step.SCAN_DATA else gauge_reading(text)
    except QuantityError as error:
        errors["shown"] = _words(error, typed.get("shown", ""))
        return None
    return Kind.READ, _payload(step, reading)


def _spot(
    step: Step,
    typed: Mapping[str, str],
    unit: str,
    thermometers: Sequence[SpotThermometer],
    errors: dict[str, str],
) -> tuple[Kind, dict[str, Any]] | None:
    text = _with_unit(typed.get("shown", ""), unit)
    found: dict[str, Any] = {}
    reads = {
        "shown": lambda: temperature_c_of(text),
        "surface": lambda: typed_surface(typed.get("surface", ""), None),
        "set_emissivity": lambda: emissivity_of(typed.get("set_emissivity", "")),
        "surroundings": lambda: temperature_c_of(_with_unit(typed.get("surroundings", ""), unit)),
    }
    for name, read in reads.items():
        try:
            found[name] = read()
        except (DeskError, CalibrationError) as error:
            errors[name] = _words(error, typed.get(name, ""))
    thermometer = chosen_thermometer(typed.get("thermometer", ""), thermometers)
    if thermometer is None or thermometer.refusal:
        errors["thermometer"] = thermometer.refusal if thermometer else "Choose a thermometer from the list."
    elif "set_emissivity" in found and (refusal := thermometer.refusal_at(found["set_emissivity"])):
        errors["set_emissivity"] = refusal
    if errors or thermometer is None:
        return None
    try:
        reading = spot_reading(
            text,
            surface=found["surface"],
            set_emissivity=found["set_emissivity"],
            surroundings_c=found["surroundings"],
            thermometer=thermometer,
        )
    except CalibrationError as error:
        errors["form"] = str(error)
        return None
    rests_on = {"thermometer_sha256": thermometer.sha256, "simulated": thermometer.is_simulated}
    return Kind.READ, {**_payload(step, reading), **rests_on}


def _box(
    step: Step, typed: Mapping[str, str], curve: ReferenceCurve, unit: str, errors: dict[str, str]
) -> tuple[Kind, dict[str, Any]] | None:
    resistance_ohm = 0.0
    try:
        resistance_ohm = resistance_ohm_of(typed.get("setting", ""))
    except QuantityError as error:
        errors["setting"] = _words(error, typed.get("setting", ""))
    shown = []
    for name, display in (("shown", Display.SCAN_DATA), ("gauge", Display.GAUGE)):
        text = typed.get(name, "").strip()
        if not text and display is Display.GAUGE:
            continue
        try:
            reading = gauge_reading(_with_unit(text, unit)) if display is Display.GAUGE else None
            shown_c, u_shown_k = (
                display_of(_with_unit(text, unit))
                if reading is None
                else (reading.temperature_c, reading.u_display_k)
            )
            shown.append({"display": display.value, "shown_c": shown_c, "u_shown_k": u_shown_k})
        except QuantityError as error:
            errors[name] = _words(error, text)
    if errors:
        return None
    lines = BOX.budget_lines(resistance_ohm, 1.0)
    return Kind.BOX_READ, {
        "step": step.value,
        "resistance_ohm": resistance_ohm,
        "u_resistance_ohm": sum(line.standard_u**2 for line in lines) ** 0.5,
        "shown": shown,
        "words": f"box at {resistance_ohm:g} Ω, within {100.0 * BOX.tolerance_relative:g} % (assumed)",
    }


def _payload(step: Step, reading: TypedReading) -> dict[str, Any]:
    return {
        "step": step.value,
        "temperature_c": reading.temperature_c,
        "expanded_u_k": reading.expanded_u_k,
        "u_display_k": reading.u_display_k,
        "typed": reading.typed,
        "words": reading.words,
    }


def _suggested(curve: ReferenceCurve) -> str:
    """Setting that makes the computer show a warm engine, or the warmest row the curve has."""
    show_c = min(max(SHOW_C, curve.valid_from_c), curve.valid_to_c)
    if curve.judges_only_printed_rows:
        show_c = min(curve.printed_temperatures_c, key=lambda row_c: abs(row_c - SHOW_C))
    try:
        return f"{dial_row(curve, show_c, BOX).setting_ohm:g}"
    except CalibrationError:
        return ""


def _with_unit(text: str, unit: str) -> str:
    text = text.strip()
    return text + unit if text[-1:].isdigit() or text.endswith(".") else text


def _words(error: Exception, text: str) -> str:
    return str(error) if text.strip() else "Write what is shown, or leave the step out."
