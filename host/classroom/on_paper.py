"""An exercise without a rig: a table of readings, made from a fault or typed, judged as typed points are."""

from calibration.conformity import DecisionRule
from calibration.curves import ReferenceCurve
from calibration.diagnosis import why_words
from calibration.diagnosis.fault import Fault
from calibration.sender_point import SenderPoint
from host.classroom.exercise import TypedPoint
from host.classroom.nameable import NOTHING
from host.errors import DeskError
from host.points_file import points_of
from host.typed_check import TypedCheck, check_typed_points

_NOMINAL_C = 25.0
#: Digits that a meter shows.
_DIGITS = 4


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
        If such a fault has no table of its own.
    CurveError
        If the curve says nothing there.
    """
    return tuple(
        TypedPoint(
            temperature_c=point_c,
            resistance_ohm=float(f"{_resistance_ohm(curve, fault, size, point_c):.{_DIGITS}g}"),
        )
        for point_c in temperatures_c
    )


def _resistance_ohm(curve: ReferenceCurve, fault: str, size: float, temperature_c: float) -> float:
    ohm = curve.resistance_ohm(temperature_c)
    if fault == NOTHING:
        return ohm
    if fault == Fault.SERIES:
        return ohm + size
    if fault == Fault.LEAKAGE:
        return ohm * 1000.0 * size / (ohm + 1000.0 * size)
    if fault == Fault.R25:
        return ohm * (1.0 + size / 100.0)
    if fault == Fault.BETA:
        r25_ohm = curve.resistance_ohm(_NOMINAL_C)
        return float(r25_ohm * (ohm / r25_ohm) ** (1.0 + size / 100.0))
    raise DeskError("No table can be made of this fault: type the readings, or choose another.")


def typed_readings(text: str) -> tuple[TypedPoint, ...]:
    """Readings of a table typed with a temperature in °C and ohms in each row.

    Raises
    ------
    DeskError
        If a row cannot be read; names it.
    """
    rows = [line.split() for line in text.replace(";", " ").replace(",", " ").splitlines() if line.strip()]
    wrong = next((number for number, row in enumerate(rows, start=1) if len(row) != 2), None)
    if wrong is not None:
        raise DeskError(f"Row {wrong}: write a temperature in °C and the ohms, with a space between.")
    file = points_of(_csv(rows), name="readings")
    if file.dead:
        raise DeskError("Write ohms in every row: what could not be read makes no exercise here.")
    return tuple(
        TypedPoint(temperature_c=point.temperature_c, resistance_ohm=point.resistance_ohm)
        for point in file.points
    )


def judged(
    readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None
) -> tuple[SenderPoint, ...]:
    """The readings against the curve, with the uncertainty that reading by hand has."""
    return _checked(readings, curve, limit_k).points


def why(readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None) -> tuple[str, ...]:
    """What the desk itself makes of them."""
    return tuple(why_words(_checked(readings, curve, limit_k).diagnosis, curve))


def _checked(readings: tuple[TypedPoint, ...], curve: ReferenceCurve, limit_k: float | None) -> TypedCheck:
    rows = [[repr(point.temperature_c), repr(point.resistance_ohm)] for point in readings]
    file = points_of(_csv(rows), name="readings")
    return check_typed_points(file, curve=curve, rule=DecisionRule.GUARDED, limit_k=limit_k)


def _csv(rows: list[list[str]]) -> bytes:
    return "\n".join(["temperature_c,resistance_ohm", *(",".join(row) for row in rows)]).encode("utf-8")
