"""What the computer would show, at each temperature, with the sender that was measured."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.errors import CurveRangeError
from calibration.resistance.self_heating import SelfHeating, self_heating
from calibration.thermistor.fit import CurveFit
from calibration.thermistor.model import curve_of
from calibration.uncertainty.budget import rectangular_u
from calibration.vehicle.computer_input import ComputerInput

#: Dissipation factor of a sender in flowing coolant. Assumed; none is printed for coolant senders. [W/K]
COOLANT_DISSIPATION_W_PER_K = (0.005, 0.025)

#: Coverage factor of the uncertainties here, normal distribution assumed.
K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRow:
    """One true temperature of the coolant.

    Attributes
    ----------
    true_c : float
        [°C]
    resistance_ohm : float
        The sender's there, warmed by the computer's own current where that is known. [Ω]
    shown_c, shown_minus_true_k : float
        What a computer holding the reference curve shows. [°C], [K]
    expanded_u_k : float or None
        Of ``shown_c``, k = 2; None where the measured points tell none. [K]
    self_heating_k : float
        How much of it is the computer's own current; 0 where its pull-up is not known. [K]
    """

    true_c: float
    resistance_ohm: float
    shown_c: float
    shown_minus_true_k: float
    expanded_u_k: float | None
    self_heating_k: float


def shown_rows(
    curve: ReferenceCurve,
    sender: CurveFit,
    temperatures_c: Sequence[float],
    *,
    computer: ComputerInput | None = None,
) -> tuple[ShownRow, ...]:
    """What the computer would show at some true temperatures.

    Parameters
    ----------
    curve : ReferenceCurve
        What the computer holds.
    sender : CurveFit
        The sender as measured; it speaks for its measured range only.
    temperatures_c : sequence of float
        True temperatures of the coolant. [°C]
    computer : ComputerInput, optional
        Adds the warming by the computer's own current.

    Raises
    ------
    CurveRangeError
        If a temperature lies outside what was measured, or outside the curve.
    """
    return tuple(_row(curve, sender, temperature_c, computer) for temperature_c in temperatures_c)


def _row(curve: ReferenceCurve, sender: CurveFit, true_c: float, computer: ComputerInput | None) -> ShownRow:
    if not sender.valid_from_c <= true_c <= sender.valid_to_c:
        raise CurveRangeError(
            f"{true_c:.4g} °C lies outside what was measured, {sender.valid_from_c:g} to "
            f"{sender.valid_to_c:g} °C: the sender says nothing there. Measure a point beyond it.",
            asked=true_c,
            lowest=sender.valid_from_c,
            highest=sender.valid_to_c,
            unit="°C",
        )
    heat = _heat(sender, true_c, computer)
    resistance_ohm = sender.curve.resistance_ohm(true_c + heat.rise_k)
    shown_c = curve.indicated_c(resistance_ohm, at_c=true_c)
    u_fit_k = temperature_u_k(sender, resistance_ohm)
    expanded_u_k = None
    if u_fit_k is not None:
        doubt_k = curve.doubt_k(true_c, shown_c - true_c)
        expanded_u_k = K * math.hypot(u_fit_k, rectangular_u(heat.half_width_k), rectangular_u(doubt_k))
    return ShownRow(
        true_c=true_c,
        resistance_ohm=resistance_ohm,
        shown_c=shown_c,
        shown_minus_true_k=shown_c - true_c,
        expanded_u_k=expanded_u_k,
        self_heating_k=heat.rise_k,
    )


def _heat(sender: CurveFit, true_c: float, computer: ComputerInput | None) -> SelfHeating:
    if computer is None:
        return SelfHeating(rise_k=0.0, half_width_k=0.0)
    low, high = COOLANT_DISSIPATION_W_PER_K
    return self_heating(
        computer.excitation,
        sender.curve.resistance_ohm(true_c),
        lowest_w_per_k=low,
        highest_w_per_k=high,
    )


def temperature_u_k(fit: CurveFit, resistance_ohm: float) -> float | None:
    """Standard uncertainty of a fitted curve's temperature, from the covariance of its coefficients.

    None where the fit has none: as many points as coefficients, and no uncertainties given. [K]
    """
    if fit.covariance is None:
        return None
    changes = []
    for name, value in fit.coefficients.items():
        step = 1e-6 * abs(value) if value else 1e-12
        moved = [
            curve_of(fit.model, {**fit.coefficients, name: value + sign * step}).temperature_c(resistance_ohm)
            for sign in (1.0, -1.0)
        ]
        changes.append((moved[0] - moved[1]) / (2.0 * step))
    gradient = np.array(changes)
    return math.sqrt(max(0.0, float(gradient @ np.array(fit.covariance) @ gradient)))
