"""What the file of each kind of instrument must say."""

from collections.abc import Mapping
from typing import Any

from calibration.errors import FitError
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve
from host.store.instrument_kind import InstrumentKind
from host.store.register_fields import (
    RegisterFileError,
    above_zero,
    coverage_factor,
    number,
    one_line,
    refuse_unknown,
    table_rows,
)

_COEFFICIENTS = ("a", "b", "c")
_PROBE_NUMBERS = ("expanded_u_k", "k", "valid_from_c", "valid_to_c")
_BOX_U_FIELDS = ("expanded_u_relative", "expanded_u_ohm")
_THERMOMETER_FIELDS = {"resolution_k", "accuracy_k", "accuracy_percent", "k", "point"}
_INFRARED_FIELDS = {
    "emissivity",
    "certified_emissivity",
    "distance_to_spot",
    "smallest_spot_mm",
    "band_from_um",
    "band_to_um",
}
_SETTABLE = "settable"
_RESISTOR_FIELDS, _SENDER_FIELDS = {"resistance_ohm", "expanded_u_ohm"}, {"curve", "point"}


def checked_kind(kind: InstrumentKind, fields: Mapping[str, Any], common: set[str]) -> Mapping[str, Any]:
    """Fields of a kind, checked, with what follows from them.

    Raises
    ------
    RegisterFileError
        If anything is missing, impossible, or unknown.
    """
    if kind is InstrumentKind.PROBE:
        return _checked_probe(fields, common)
    if kind is InstrumentKind.DECADE_BOX:
        _check_decade_box(fields, common)
    elif kind is InstrumentKind.ARTEFACT:
        _check_artefact(fields, common)
    elif kind is InstrumentKind.METER:
        _check_meter(fields, common)
    else:
        _check_thermometer(kind, fields, common)
    return fields


def _checked_probe(fields: Mapping[str, Any], common: set[str]) -> Mapping[str, Any]:
    refuse_unknown(fields, common | {"model", "point", *_COEFFICIENTS, *_PROBE_NUMBERS})
    if fields.get("model") != "steinhart_hart":
        raise RegisterFileError(
            f'model must be "steinhart_hart", not {fields.get("model")!r}: 1/T = a + b·ln R + c·(ln R)³.',
            field="model",
        )
    numbers = {name: number(fields, name) for name in _PROBE_NUMBERS}
    above_zero(fields, "expanded_u_k")
    coverage_factor(fields)
    if numbers["valid_from_c"] >= numbers["valid_to_c"]:
        raise RegisterFileError(
            f"valid_from_c ({numbers['valid_from_c']:g}) must be below "
            f"valid_to_c ({numbers['valid_to_c']:g}).",
            field="valid_to_c",
        )
    if table_rows(fields, "point") and not any(name in fields for name in _COEFFICIENTS):
        fields = {**fields, **_coefficients_of(fields)}
    number(fields, "a")
    for name in ("b", "c"):
        above_zero(fields, name)
    return fields


def _coefficients_of(fields: Mapping[str, Any]) -> Mapping[str, float]:
    """Coefficients through the certificate's points; they must lie on one curve within its uncertainty."""
    points = [_probe_point(row, f"point {row_number}: ") for row_number, row in _numbered(fields, "point")]
    try:
        fit: CurveFit = fit_curve(points, Model.STEINHART_HART)
    except FitError as error:
        raise RegisterFileError(f"point: {error}", field="point") from error
    if fit.max_residual_k > number(fields, "expanded_u_k"):
        raise RegisterFileError(
            f"point: one of them lies {fit.max_residual_k:.3f} K off the curve through all, and the "
            f"certificate claims {number(fields, 'expanded_u_k'):g} K: compare each with the paper.",
            field="point",
        )
    return {name: fit.coefficients[name] for name in _COEFFICIENTS}


def _probe_point(row: Mapping[str, Any], where: str) -> FitPoint:
    refuse_unknown(row, {"temperature_c", "resistance_ohm"}, where)
    temperature_c, resistance_ohm = number(row, "temperature_c", where), number(row, "resistance_ohm", where)
    try:
        return FitPoint(temperature_c=temperature_c, resistance_ohm=resistance_ohm)
    except ValueError as error:
        raise RegisterFileError(f"{where}{error}", field="point") from error


def _check_decade_box(fields: Mapping[str, Any], common: set[str]) -> None:
    refuse_unknown(fields, common | {"residual_ohm", "k", "step", *_BOX_U_FIELDS})
    if number(fields, "residual_ohm") < 0:
        raise RegisterFileError("residual_ohm must not be below zero.", field="residual_ohm")
    coverage_factor(fields)
    if not table_rows(fields, "step"):
        raise RegisterFileError(
            "step is missing: write one [[step]] for each certified resistance.", field="step"
        )
    seen: set[float] = set()
    for row_number, step in _numbered(fields, "step"):
        nominal_ohm = _check_step(fields, step, f"step {row_number}: ")
        if nominal_ohm in seen:
            raise RegisterFileError(
                f"step {row_number}: nominal_ohm {nominal_ohm:g} stands twice.", field="step"
            )
        seen.add(nominal_ohm)


def _check_step(fields: Mapping[str, Any], step: Mapping[str, Any], where: str) -> float:
    refuse_unknown(step, {"nominal_ohm", "certified_ohm", *_BOX_U_FIELDS}, where)
    nominal_ohm = number(step, "nominal_ohm", where)
    certified_ohm = number(step, "certified_ohm", where)
    if nominal_ohm <= 0 or certified_ohm <= 0:
        raise RegisterFileError(f"{where}nominal_ohm and certified_ohm must be above zero.", field="step")
    if abs(certified_ohm / nominal_ohm - 1) > 0.1:
        raise RegisterFileError(
            f"{where}certified_ohm {certified_ohm:g} is more than 10 % from nominal_ohm {nominal_ohm:g}: "
            "check for kilohms or a slipped digit.",
            field="step",
        )
    parts = [number({**fields, **step}, name, where) for name in _BOX_U_FIELDS if name in {**fields, **step}]
    if not parts or min(parts) < 0 or max(parts) == 0:
        raise RegisterFileError(
            f"{where}an uncertainty above zero is needed: expanded_u_relative, expanded_u_ohm or both.",
            field="step",
        )
    return nominal_ohm


def _check_artefact(fields: Mapping[str, Any], common: set[str]) -> None:
    """A fixed resistor with its resistance, or a sender with its error by a curve at some temperatures."""
    refuse_unknown(fields, common | {"k", *_RESISTOR_FIELDS, *_SENDER_FIELDS})
    coverage_factor(fields)
    is_resistor = "resistance_ohm" in fields
    if is_resistor == ("curve" in fields):
        raise RegisterFileError(
            "resistance_ohm is for a fixed resistor, curve with its [[point]] for a sender: write one of the "
            "two.",
            field="resistance_ohm",
        )
    refuse_unknown(fields, common | {"k"} | (_RESISTOR_FIELDS if is_resistor else _SENDER_FIELDS))
    if is_resistor:
        above_zero(fields, "resistance_ohm")
        above_zero(fields, "expanded_u_ohm")
        return
    one_line(fields, "curve")
    if not table_rows(fields, "point"):
        raise RegisterFileError(
            "point is missing: write one [[point]] for each temperature at which its error is certified.",
            field="point",
        )
    for row_number, row in _numbered(fields, "point"):
        where = f"point {row_number}: "
        refuse_unknown(row, {"temperature_c", "error_k", "expanded_u_k"}, where)
        number(row, "temperature_c", where)
        number(row, "error_k", where)
        above_zero(row, "expanded_u_k", where)


def _check_meter(fields: Mapping[str, Any], common: set[str]) -> None:
    refuse_unknown(fields, common | {"k", "point"})
    coverage_factor(fields)
    if not table_rows(fields, "point"):
        raise RegisterFileError(
            "point is missing: write one [[point]] for each certified resistance.", field="point"
        )
    before_ohm = 0.0
    for row_number, row in _numbered(fields, "point"):
        where = f"point {row_number}: "
        refuse_unknown(row, {"shown_ohm", "correction_ohm", "expanded_u_ohm"}, where)
        shown_ohm = number(row, "shown_ohm", where)
        if above_zero(row, "expanded_u_ohm", where) and not shown_ohm > before_ohm:
            raise RegisterFileError(
                f"{where}shown_ohm {shown_ohm:g} must be above zero and above that of the row before: the "
                "lowest comes first.",
                field="point",
            )
        if abs(number(row, "correction_ohm", where)) > 0.1 * shown_ohm:
            raise RegisterFileError(
                f"{where}correction_ohm is more than 10 % of shown_ohm: write what is to be added to the "
                "reading, in ohms.",
                field="point",
            )
        before_ohm = shown_ohm


def _check_thermometer(kind: InstrumentKind, fields: Mapping[str, Any], common: set[str]) -> None:
    infrared = kind is InstrumentKind.INFRARED
    own = {InstrumentKind.INFRARED: _INFRARED_FIELDS, InstrumentKind.RIG_INFRARED: {"certified_emissivity"}}
    refuse_unknown(fields, common | _THERMOMETER_FIELDS | own.get(kind, set()))
    above_zero(fields, "resolution_k")
    if "accuracy_k" in fields:
        above_zero(fields, "accuracy_k")
    if "accuracy_percent" in fields and not 0.0 <= number(fields, "accuracy_percent") <= 20.0:
        raise RegisterFileError("accuracy_percent must be from 0 to 20.", field="accuracy_percent")
    if "accuracy_percent" in fields and "accuracy_k" not in fields:
        raise RegisterFileError(
            "accuracy_k is missing beside accuracy_percent: makers print ±2 °C or ±2 %.", field="accuracy_k"
        )
    if not table_rows(fields, "point") and "accuracy_k" not in fields:
        raise RegisterFileError(
            "accuracy_k is missing: write the maker's accuracy, or one [[point]] for each certified "
            "temperature.",
            field="accuracy_k",
        )
    _check_corrections(fields)
    if infrared:
        _check_infrared(fields)
    if kind is InstrumentKind.RIG_INFRARED:
        _check_rig_infrared(fields)


def _check_corrections(fields: Mapping[str, Any]) -> None:
    if not table_rows(fields, "point"):
        return
    coverage_factor(fields)
    before_c = -273.15
    for row_number, row in _numbered(fields, "point"):
        where = f"point {row_number}: "
        refuse_unknown(row, {"shown_c", "correction_k", "expanded_u_k"}, where)
        shown_c, correction_k = number(row, "shown_c", where), number(row, "correction_k", where)
        if above_zero(row, "expanded_u_k", where) and not shown_c > before_c:
            raise RegisterFileError(
                f"{where}shown_c {shown_c:g} must be above that of the row before: the coldest comes first.",
                field="point",
            )
        if abs(correction_k) > 50.0:
            raise RegisterFileError(
                f"{where}correction_k {correction_k:g} is no correction of a thermometer that is used: "
                "write what is to be added to the reading, in kelvin.",
                field="point",
            )
        before_c = shown_c


def _check_infrared(fields: Mapping[str, Any]) -> None:
    emissivity = fields.get("emissivity")
    if emissivity != _SETTABLE and not 0.1 <= number(fields, "emissivity") <= 1.0:
        raise RegisterFileError(
            'emissivity must be from 0.1 to 1 where it is fixed, or "settable".', field="emissivity"
        )
    _check_certified_emissivity(fields)
    above_zero(fields, "distance_to_spot")
    if "smallest_spot_mm" in fields:
        above_zero(fields, "smallest_spot_mm")
    if above_zero(fields, "band_from_um") >= above_zero(fields, "band_to_um"):
        raise RegisterFileError("band_from_um must be below band_to_um.", field="band_to_um")


def _check_rig_infrared(fields: Mapping[str, Any]) -> None:
    """A sensor belongs to its station; its corrections hold for what its cell held."""
    if "station" not in fields:
        raise RegisterFileError(
            "station is missing: an infrared sensor is that of its station alone.", field="station"
        )
    if table_rows(fields, "point") and not 0.1 <= number(fields, "certified_emissivity") <= 1.0:
        raise RegisterFileError("certified_emissivity must be from 0.1 to 1.", field="certified_emissivity")


def _check_certified_emissivity(fields: Mapping[str, Any]) -> None:
    """Corrections hold for the setting that the thermometer had when they were found."""
    if "certified_emissivity" not in fields:
        if fields["emissivity"] == _SETTABLE and table_rows(fields, "point"):
            raise RegisterFileError(
                "certified_emissivity is missing: its emissivity can be set, and its corrections hold for "
                "one setting alone. The certificate names it, mostly 0.95 or 1.",
                field="certified_emissivity",
            )
        return
    if not 0.1 <= number(fields, "certified_emissivity") <= 1.0:
        raise RegisterFileError("certified_emissivity must be from 0.1 to 1.", field="certified_emissivity")
    if fields["emissivity"] not in (_SETTABLE, fields["certified_emissivity"]):
        raise RegisterFileError(
            f"certified_emissivity {fields['certified_emissivity']:g} is not the emissivity that it is fixed "
            f"at, {fields['emissivity']:g}: compare both with the certificate.",
            field="certified_emissivity",
        )


def _numbered(fields: Mapping[str, Any], name: str) -> enumerate[Mapping[str, Any]]:
    return enumerate(table_rows(fields, name), start=1)
