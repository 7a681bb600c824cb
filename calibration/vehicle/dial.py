"""The dial table: what to set on the decade box so that the computer shows a chosen temperature.

It says what a computer holding the reference curve would show. What a computer really holds, only the
vehicle knows; a difference found with the box in place of the sender is the computer's or the wiring's.
"""

import math
from dataclasses import dataclass

from calibration.curves import ReferenceCurve
from calibration.errors import CalibrationError
from calibration.uncertainty.budget import BudgetLine, Distribution, combine, rectangular_u

#: A difference of one kelvin in degrees Fahrenheit.
FAHRENHEIT_PER_K = 1.8


class DialError(CalibrationError):
    """A temperature that this box cannot make a computer show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DialledBox:
    """A decade box as it is dialled by hand or by relays.

    Attributes
    ----------
    step_ohm : float
        Smallest step. [Ω]
    residual_ohm : float
        Resistance at zero, leads included. [Ω]
    tolerance_relative : float
        Half-width of what goes with the value; by default 1 %, as simple substitution boxes are sold. [1]
    tolerance_ohm : float
        Half-width of what does not: contacts and leads. Assumed where not given. [Ω]
    """

    step_ohm: float = 1.0
    residual_ohm: float = 0.0
    tolerance_relative: float = 0.01
    tolerance_ohm: float = 0.1

    def __post_init__(self) -> None:
        """Refuse what is no box."""
        if not 0.0 < self.step_ohm < math.inf:
            raise DialError(f"A decade box has no steps of {self.step_ohm:g} Ω. Give its smallest step.")
        if min(self.residual_ohm, self.tolerance_relative, self.tolerance_ohm) < 0.0:
            raise DialError("Residual and tolerances of a decade box are not below zero.")

    def nearest_setting_ohm(self, resistance_ohm: float) -> float:
        """Setting that comes nearest to a resistance. [Ω]"""
        return self.step_ohm * max(0, round((resistance_ohm - self.residual_ohm) / self.step_ohm))

    def true_ohm(self, setting_ohm: float) -> float:
        """Resistance at a setting. [Ω]"""
        return self.residual_ohm + setting_ohm


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


def dial_row(curve: ReferenceCurve, show_c: float, box: DialledBox) -> DialRow:
    """Find what to dial so that a computer holding the curve shows a temperature.

    Parameters
    ----------
    curve : ReferenceCurve
        What the computer holds.
    show_c : float
        Temperature it is to show. [°C]
    box : DialledBox

    Raises
    ------
    CurveRangeError
        If the curve says nothing there.
    DialError
        If the box is too coarse: a step less would be a short circuit.
    """
    curve_ohm = curve.nominal_ohm(show_c)
    setting_ohm = box.nearest_setting_ohm(curve_ohm)
    true_ohm = box.true_ohm(setting_ohm)
    if setting_ohm < box.step_ohm or true_ohm - box.step_ohm <= 0.0:
        raise DialError(
            f"{show_c:.4g} °C needs {curve_ohm:.4g} Ω: steps of {box.step_ohm:g} Ω over a residual of "
            f"{box.residual_ohm:g} Ω are too coarse. Take a box with smaller steps, or show a colder "
            "temperature."
        )

    def shown_c(resistance_ohm: float) -> float:
        return curve.indicated_c(resistance_ohm, at_c=show_c)

    shows_c = shown_c(true_ohm)
    budget = combine(estimate=shows_c, unit="°C", lines=_lines(curve, show_c, shows_c, true_ohm, box))
    return DialRow(
        show_c=show_c,
        curve_ohm=curve_ohm,
        setting_ohm=setting_ohm,
        shows_c=shows_c,
        step_down_k=shown_c(true_ohm - box.step_ohm) - shows_c,
        step_up_k=shown_c(true_ohm + box.step_ohm) - shows_c,
        expanded_u_k=budget.expanded_u,
        k=budget.k,
    )


def _lines(
    curve: ReferenceCurve, show_c: float, shows_c: float, true_ohm: float, box: DialledBox
) -> list[BudgetLine]:
    slope = curve.sensitivity_k_per_ohm(true_ohm)
    return [
        _rectangular("box: value", "Ω", box.tolerance_relative * true_ohm, slope),
        _rectangular("box: contacts and leads", "Ω", box.tolerance_ohm, slope),
        _rectangular("curve between printed rows", "K", curve.doubt_k(show_c, shows_c - show_c), 1.0),
    ]


def _rectangular(quantity: str, unit: str, half_width: float, sensitivity: float) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=0.0,
        unit=unit,
        standard_u=rectangular_u(half_width),
        distribution=Distribution.RECTANGULAR,
        sensitivity=sensitivity,
    )
