"""The dial table: what to set on the decade box so that the computer shows a chosen temperature.

It says what a computer holding the reference curve would show. What a computer really holds, only the
vehicle knows; a difference found with the box in place of the sender is the computer's or the wiring's.
"""

from dataclasses import dataclass

from calibration.curves import ReferenceCurve
from calibration.temperature_scale import FAHRENHEIT_PER_K
from calibration.uncertainty.budget import combine
from calibration.vehicle.dialled_box import BoxOfSteps, DialError, rectangular_line


@dataclass(frozen=True, slots=True, kw_only=True)
class DialRow:
    """One temperature to be shown.

    Attributes
    ----------
    show_c : float
        Asked for. [°C]
    curve_ohm : float
        What the curve has there. [Ω]
    setting_ohm : float
        What to dial. [Ω]
    shows_c : float
        What the computer then shows. [°C]
    step_down_k, step_up_k : float
        By how much that changes with one step less, and one step more. Above and below zero. [K]
    expanded_u_k, k : float
        Of ``shows_c``, from the box and from the curve between its rows. [K]
    """

    show_c: float
    curve_ohm: float
    setting_ohm: float
    shows_c: float
    step_down_k: float
    step_up_k: float
    expanded_u_k: float
    k: float

    @property
    def reach_k(self) -> float:
        """How far from the temperature asked for the box leaves it. [K]"""
        return self.shows_c - self.show_c

    @property
    def step_k(self) -> float:
        """The larger of the two changes, as a size. [K]"""
        return max(self.step_down_k, -self.step_up_k)

    @property
    def step_f(self) -> float:
        """The same in degrees Fahrenheit, a difference. [°F]"""
        return FAHRENHEIT_PER_K * self.step_k


def dial_row(curve: ReferenceCurve, show_c: float, box: BoxOfSteps) -> DialRow:
    """Find what to dial so that a computer holding the curve shows a temperature.

    Parameters
    ----------
    curve : ReferenceCurve
        What the computer holds.
    show_c : float
        Temperature it is to show. [°C]
    box : BoxOfSteps
        A box bought by its tolerance, or one with a certificate.

    Raises
    ------
    CurveRangeError
        If the curve says nothing there.
    DialError
        If the box is too coarse, so that a step less would be a short circuit, or does not reach.
    """
    curve_ohm = curve.nominal_ohm(show_c)
    if box.true_ohm(0) >= curve_ohm:
        raise DialError(
            f"{show_c:.4g} °C needs {curve_ohm:.4g} Ω, but box and leads have {box.true_ohm(0):.4g} Ω at "
            "zero. Check the residual, take shorter leads, or show a colder temperature."
        )
    setting_ohm = box.nearest_setting_ohm(curve_ohm)
    true_ohm = box.true_ohm(setting_ohm)
    if setting_ohm < box.step_ohm or box.true_ohm(setting_ohm - box.step_ohm) <= 0.0:
        raise DialError(
            f"{show_c:.4g} °C needs {curve_ohm:.4g} Ω: steps of {box.step_ohm:g} Ω over a residual of "
            f"{box.true_ohm(0):g} Ω are too coarse. Take a box with smaller steps, or show a colder "
            "temperature."
        )

    def shown_c(resistance_ohm: float) -> float:
        return curve.indicated_c(resistance_ohm, at_c=show_c)

    shows_c = shown_c(true_ohm)
    between_rows = rectangular_line(
        "curve between printed rows", "K", curve.doubt_k(show_c, shows_c - show_c), 1.0
    )
    of_box = box.budget_lines(true_ohm, curve.sensitivity_k_per_ohm(true_ohm))
    budget = combine(estimate=shows_c, unit="°C", lines=[*of_box, between_rows])
    return DialRow(
        show_c=show_c,
        curve_ohm=curve_ohm,
        setting_ohm=setting_ohm,
        shows_c=shows_c,
        step_down_k=shown_c(box.true_ohm(setting_ohm - box.step_ohm)) - shows_c,
        step_up_k=shown_c(box.true_ohm(setting_ohm + box.step_ohm)) - shows_c,
        expanded_u_k=budget.expanded_u,
        k=budget.k,
    )
