"""What a measured sender means in the vehicle: what its computer would show, and what to dial instead."""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.curves import CurveError, ReferenceCurve
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.rounding import decimals_of, rounded_text
from calibration.temperature_scale import FAHRENHEIT_PER_K
from calibration.thermistor.fit import CurveFit, FitPoint, Model, fit_curve
from calibration.vehicle.dial import DialRow, dial_row
from calibration.vehicle.dialled_box import CertifiedBox, DialError
from calibration.vehicle.shown import ShownRow, shown_rows
from host.certificates.certificate import CertifiedPoint
from host.certificates.printed import signed_text
from host.web.scale import Scale, degrees, plain_degrees

#: Rows of the table, at most.
MOST_ROWS = 7
_STEPS_K = (5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class InVehicleRow:
    """One true temperature of the coolant, in characters.

    Attributes
    ----------
    true : str
    shown, off_k, expanded_u_k : str
        What the computer would show with this sender, how far off that is, and U. [scale], [K], [K]
    dial_ohm, dial_shows : str
        What to set on the decade box in the sender's place, and what is shown then; empty where the box does
        not reach. [Ω], [scale]
    """

    true: str
    shown: str
    off_k: str
    expanded_u_k: str
    dial_ohm: str
    dial_shows: str


def in_vehicle_rows(
    points: Sequence[CertifiedPoint], curve: ReferenceCurve, box: DecadeBoxCertificate, scale: Scale
) -> tuple[InVehicleRow, ...]:
    """Rows at round temperatures within what was measured, or at the curve's printed ones.

    Parameters
    ----------
    points : sequence of CertifiedPoint
        As issued; a curve is fitted to them once more.
    curve : ReferenceCurve
        What the computer holds.
    box : DecadeBoxCertificate
        The bench's own.
    scale : Scale
    """
    fit = _fit(points)
    rows = []
    for true_c in temperatures_c(points, curve):
        try:
            (shown,) = shown_rows(curve, fit, (true_c,))
        except CurveError:
            continue
        rows.append(_row(shown, _dial(curve, true_c, box), scale))
    return tuple(rows)


def temperatures_c(points: Sequence[CertifiedPoint], curve: ReferenceCurve) -> tuple[float, ...]:
    """True temperatures that the table is about. [°C]"""
    low_c = max(min(point.temperature_c for point in points), curve.valid_from_c)
    high_c = min(max(point.temperature_c for point in points), curve.valid_to_c)
    if curve.judges_only_printed_rows:
        return tuple(t for t in curve.printed_temperatures_c if low_c <= t <= high_c)
    for step_k in _STEPS_K:
        first = -(-low_c // step_k) * step_k
        found = tuple(first + n * step_k for n in range(int((high_c - first) // step_k) + 1))
        if len(found) <= MOST_ROWS:
            return found
    return ()


def _fit(points: Sequence[CertifiedPoint]) -> CurveFit:
    return fit_curve(
        [
            FitPoint(
                temperature_c=point.temperature_c,
                resistance_ohm=point.resistance_ohm,
                u_temperature_k=point.expanded_u_k / point.k,
                u_resistance_ohm=point.u_resistance_ohm,
            )
            for point in points
        ],
        Model.STEINHART_HART,
    )


def _dial(curve: ReferenceCurve, show_c: float, box: DecadeBoxCertificate) -> DialRow | None:
    try:
        return dial_row(curve, show_c, CertifiedBox(certificate=box))
    except (CurveError, DialError):
        return None


def _row(shown: ShownRow, dial: DialRow | None, scale: Scale) -> InVehicleRow:
    u_k = shown.expanded_u_k
    places = decimals_of(u_k) if u_k else 1
    return InVehicleRow(
        true=plain_degrees(shown.true_c, scale),
        shown=degrees(shown.shown_c, scale, expanded_u_k=u_k or 1.0),
        off_k=signed_text(shown.shown_minus_true_k, places).replace("-", "−"),
        expanded_u_k=rounded_text(u_k, places) if u_k else "not known",
        dial_ohm="" if dial is None else f"{dial.setting_ohm:,.0f}",
        dial_shows="" if dial is None else _shows(dial, scale),
    )


def _shows(dial: DialRow, scale: Scale) -> str:
    per_k = FAHRENHEIT_PER_K if scale is Scale.FAHRENHEIT else 1.0
    return degrees(dial.shows_c, scale, expanded_u_k=max(dial.expanded_u_k, 0.1 / per_k))
