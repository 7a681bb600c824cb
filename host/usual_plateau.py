"""A plateau of the bench before anything was read: judged with a budget of the usual size.

For who has to know beforehand what a check could tell. A run's own budget is made of its own readings.
"""

from calibration.bath.immersion import HEX_UNDER_WATER
from calibration.conformity import DecisionRule
from calibration.curves import ReferenceCurve
from calibration.sender_point import SenderPoint, judge
from calibration.uncertainty.budget import BudgetLine, Distribution, rectangular_u

#: Air beside the bath. [°C]
USUAL_AIR_C = 22.0
#: Enters the verdict alone, which nobody asks for here. [K]
_SOME_LIMIT_K = 2.0


def usual_plateau(
    curve: ReferenceCurve, temperature_c: float, *, resistance_ohm: float | None = None
) -> SenderPoint:
    """A plateau with the budget that the simulated bench's certificates print.

    Parameters
    ----------
    temperature_c : float
        [°C]
    resistance_ohm : float, optional
        Between the terminals; the curve's own where it is left out. [Ω]

    Raises
    ------
    CurveRangeError
        If the curve cannot judge there.
    """
    return judge(
        curve=curve,
        temperature_c=temperature_c,
        resistance_ohm=curve.nominal_ohm(temperature_c) if resistance_ohm is None else resistance_ohm,
        u_resistance_ohm=0.0,
        lines=_lines(curve, temperature_c),
        rule=DecisionRule.GUARDED,
        limit_k=_SOME_LIMIT_K,
    )


def _lines(curve: ReferenceCurve, temperature_c: float) -> tuple[BudgetLine, ...]:
    """The lines that matter of a plateau's budget."""
    per_ohm = curve.sensitivity_k_per_ohm(curve.nominal_ohm(temperature_c))
    stem_k = rectangular_u(HEX_UNDER_WATER.half_width_k(temperature_c, USUAL_AIR_C))
    return (
        _line("probe: its certificate", "°C", 0.025, -1.0),
        _line("sender: self-heating", "K", rectangular_u(0.004), 1.0),
        _line("sender: clips", "Ω", rectangular_u(0.05), per_ohm),
        _line("sender: stem", "K", stem_k, 1.0),
        _line("sender: ohms check", "Ω", 0.03, per_ohm),
        _line("decade box: residual", "Ω", 0.015, per_ohm),
        _line("bath: gradient", "K", rectangular_u(0.06), 1.0),
        _line("bath: drift and lag", "K", rectangular_u(0.017), 1.0),
        _line("repeatability", "K", 0.003, 1.0),
    )


def _line(quantity: str, unit: str, standard_u: float, sensitivity: float) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=0.0,
        unit=unit,
        standard_u=standard_u,
        distribution=Distribution.NORMAL,
        sensitivity=sensitivity,
    )
