"""An exercise without a rig: a table of readings, made from a fault or typed, judged as typed points are."""

import math

import numpy as np

from calibration.conformity import DecisionRule
from calibration.curves import ReferenceCurve
from calibration.diagnosis import DeadCircuit, Diagnosis, why_words
from calibration.diagnosis.curve_view import CurveView, view_of
from calibration.diagnosis.fault import Fault
from calibration.diagnosis.fault_shapes import (
    Effect,
    beta_effect,
    leakage_effect,
    r25_effect,
    series_effect,
    thermometer_effect,
)
from calibration.diagnosis.measured_points import Vector
from calibration.sender_point import SenderPoint
from host.classroom.exercise import TypedPoint
from host.classroom.nameable import NOTHING
from host.errors import DeskError
from host.points_file import PointsFileError, points_of
from host.typed_check import TypedCheck, check_typed_points

_NOMINAL_C = 25.0
#: A part of another family is so much steeper, as a simulated one is. A choice of ours.
_WRONG_PART_STEEPER = 0.08
#: Digits that a meter shows.
_DIGITS = 4
#: Circuits that never conduct.
_DEAD = {Fault.OPEN: DeadCircuit.OPEN, Fault.SHORT: DeadCircuit.SHORT}


def readings_of_a_fault(
    curve: ReferenceCurve, fault: str, size: float, temperatures_c: tuple[float, ...]
) -> tuple[TypedPoint, ...]:
    """What a meter shows of a part of the curve with a fault, at stated temperatures.

    Parameters
    ----------
    size : float
        [unit of the fault]

    Raises
    ------
    DeskError
        If there is no such fault.
    CurveError
        If the curve says nothing there.
    """
    view = view_of(curve, np.asarray(temperatures_c, dtype=float))
    circuit = _circuit(fault, size)
    if circuit is not None and not _conducts_at_times(fault, size):
        return tuple(TypedPoint(temperature_c=point_c, circuit=circuit) for point_c in temperatures_c)
    resistance_ohm = view.resistance_ohm * np.exp(_shift(view, fault, size))
    return tuple(
        TypedPoint(temperature_c=point_c, resistance_ohm=float(f"{ohm:.{_DIGITS}g}"), circuit=circuit)
        for point_c, ohm in zip(temperatures_c, resistance_ohm.tolist(), strict=True)
    )


def _circuit(fault: str, size: float) -> DeadCircuit | None:
    """What breaks the circuit, always or at times; None where it conducts all the while."""
    return DeadCircuit.OPEN if fault == Fault.INTERMITTENT else _DEAD.get(Fault(fault))


def _conducts_at_times(fault: str, size: float) -> bool:
    return fault == Fault.INTERMITTENT and size < 100.0


def _shift(view: CurveView, fault: str, size: float) -> Vector:
    """Change of ``ln R`` between the terminals, by the same circuit from which the desk tells a fault."""
    if fault in {NOTHING, Fault.INTERMITTENT}:
        return np.zeros(view.count)
    if fault == Fault.ANOTHER_CURVE:
        r25_ohm = view.curve.resistance_ohm(_NOMINAL_C)
        steeper = _moved(beta_effect, view, _WRONG_PART_STEEPER)
        return math.log(1000.0 * size / r25_ohm) + steeper
    if fault == Fault.SERIES:
        return _moved(series_effect, view, size)
    if fault == Fault.LEAKAGE:
        return _moved(leakage_effect, view, 1.0 / (1000.0 * size))
    if fault == Fault.R25:
        return _moved(r25_effect, view, size / 100.0)
    if fault == Fault.BETA:
        return _moved(beta_effect, view, size / 100.0)
    if fault == Fault.STEM_OR_THERMOMETER:
        return _moved(thermometer_effect, view, size)
    raise DeskError("No table can be made of this fault: type the readings, or choose another.")


def _moved(effect: Effect, view: CurveView, size: float) -> Vector:
    shift, _ = effect(view, np.array([size]))
    moved: Vector = shift[0]
    return moved


def typed_readings(text: str) -> tuple[TypedPoint, ...]:
    """Readings of a table typed with a temperature in °C and what the meter showed in each row.

    Ohms, OL or 0; both, with a space between, where the reading was not steady.

    Raises
    ------
    DeskError
        If a row cannot be read; names it.
    """
    rows = [line.split() for line in text.replace(";", " ").replace(",", " ").splitlines() if line.strip()]
    return tuple(_typed_row(number, row) for number, row in enumerate(rows, start=1))


def _typed_row(number: int, row: list[str]) -> TypedPoint:
    if len(row) not in (2, 3):
        raise DeskError(
            f"Row {number}: write a temperature in °C and what the meter showed, with a space between."
        )
    try:
        shown = points_of(_csv([[row[0], cell] for cell in row[1:]]), name="")
    except PointsFileError as error:
        raise DeskError(f"Row {number}: {error.words}") from error
    if len(row) == 3 and not (len(shown.typed) == len(shown.dead) == 1):
        raise DeskError(f"Row {number}: of two things that a meter shows, one is ohms and one is OL or 0.")
    temperature_c = (*shown.points, *(one.point for one in shown.dead))[0].temperature_c
    return TypedPoint(
        temperature_c=temperature_c,
        resistance_ohm=shown.points[0].resistance_ohm if shown.points else None,
        circuit=shown.dead[0].point.circuit if shown.dead else None,
    )


def judged(
    readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None
) -> tuple[SenderPoint | None, ...]:
    """Each reading against the curve, as sure as reading by hand is; None where nothing was read.

    Raises
    ------
    CurveError
        If the curve cannot judge one of them.
    """
    check = _checked(readings, curve, limit_k)
    by_row = dict(zip((typed.row for typed in check.file.typed), check.points, strict=True))
    return tuple(by_row.get(row) for row in _first_rows(readings))


def diagnosis_of(readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None) -> Diagnosis:
    """Why the sender reads so, as far as these readings tell."""
    return _checked(readings, curve, limit_k).diagnosis


def why(readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None) -> tuple[str, ...]:
    """What the desk itself makes of them."""
    return tuple(why_words(diagnosis_of(readings, curve, limit_k), curve))


def _checked(readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None) -> TypedCheck:
    rows = [[repr(point.temperature_c), shown] for point in readings for shown in point.shown]
    file = points_of(_csv(rows), name="readings")
    return check_typed_points(file, curve=curve, rule=DecisionRule.GUARDED, limit_k=limit_k)


def _first_rows(readings: tuple[TypedPoint, ...]) -> list[int]:
    """Row of the file in which each reading begins, below a header."""
    rows, row = [], 2
    for point in readings:
        rows.append(row)
        row += len(point.shown)
    return rows


def _csv(rows: list[list[str]]) -> bytes:
    return "\n".join(["temperature_c,resistance_ohm", *(",".join(row) for row in rows)]).encode("utf-8")
