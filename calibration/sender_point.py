"""One temperature of a sender against its reference curve."""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.conformity import DecisionRule, Verdict, decide
from calibration.conformity_risk import probability_within, probability_wrong
from calibration.curves.reference_curve import ReferenceCurve
from calibration.uncertainty.budget import Budget, BudgetLine, Distribution, combine, rectangular_u


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderPoint:
    """A judged point.

    Attributes
    ----------
    temperature_c : float
        True temperature of the sender. [°C]
    resistance_ohm, u_resistance_ohm : float
        Its resistance and the standard uncertainty of that. [Ω]
    indicated_c : float
        What a computer holding the reference curve would show. [°C]
    error_k : float
        Indicated minus true. [K]
    deviation_percent : float
        Resistance against the curve's own at that temperature. [%]
    budget : Budget
        Of the error. [K]
    expanded_u_k, k : float
        Expanded uncertainty of the error and its coverage factor. [K]
    limit_k : float
        Largest permitted magnitude of the error, on its side. [K]
    limits_k : tuple[float, float]
        Lowest and highest permitted error. [K]
    verdict : Verdict
    probability_within : float
        That the true error lies within the limits.
    remarks : tuple[str, ...]
        What a reader must know of this point.
    """

    temperature_c: float
    resistance_ohm: float
    u_resistance_ohm: float
    indicated_c: float
    error_k: float
    deviation_percent: float
    budget: Budget
    expanded_u_k: float
    k: float
    limit_k: float
    limits_k: tuple[float, float]
    verdict: Verdict
    probability_within: float
    remarks: tuple[str, ...]

    @property
    def probability_wrong(self) -> float | None:
        """Probability that the verdict is wrong; None where nothing was decided."""
        return probability_wrong(self.verdict, self.probability_within)


def judge(
    *,
    curve: ReferenceCurve,
    temperature_c: float,
    resistance_ohm: float,
    u_resistance_ohm: float,
    lines: Sequence[BudgetLine],
    rule: DecisionRule,
    limit_k: float | None = None,
) -> SenderPoint:
    """Judge one temperature of a sender.

    Parameters
    ----------
    curve : ReferenceCurve
        What the sender is meant to follow.
    temperature_c, resistance_ohm : float
        The measured pair. [°C], [Ω]
    u_resistance_ohm : float
        Standard uncertainty of the resistance, for the record: its line must be among ``lines``. [Ω]
    lines : sequence of BudgetLine
        All that makes the error uncertain, with sensitivities to the error in kelvin. What the curve
        itself leaves open is added here.
    rule : DecisionRule
    limit_k : float, optional
        Permitted magnitude of the error in place of the curve's own tolerance. [K]

    Raises
    ------
    CurveError
        If the curve cannot judge at that temperature, or has no tolerance and no limit is given.
    """
    indicated_c = curve.indicated_c(resistance_ohm, at_c=temperature_c)
    error_k = indicated_c - temperature_c
    budget = combine(estimate=error_k, unit="K", lines=(*lines, *_curve_lines(curve, temperature_c, error_k)))
    lowest_k, highest_k = _limits_k(curve, temperature_c, limit_k)
    permitted_k = highest_k if error_k > 0.0 else -lowest_k
    expanded_u_k = budget.expanded_u
    verdict = decide(error_k=error_k, expanded_u_k=expanded_u_k, limit_k=permitted_k, rule=rule)
    remarks = list(_curve_remarks(curve, temperature_c, resistance_ohm))
    if verdict is Verdict.IN_TOLERANCE and rule is DecisionRule.GUARDED:
        if error_k - expanded_u_k < lowest_k or error_k + expanded_u_k > highest_k:
            verdict = Verdict.NOT_DECIDED
            remarks.append("The uncertainty reaches past the limit on the side away from the error.")
    return SenderPoint(
        temperature_c=temperature_c,
        resistance_ohm=resistance_ohm,
        u_resistance_ohm=u_resistance_ohm,
        indicated_c=indicated_c,
        error_k=error_k,
        deviation_percent=100.0 * (resistance_ohm / curve.nominal_ohm(temperature_c) - 1.0),
        budget=budget,
        expanded_u_k=expanded_u_k,
        k=budget.k,
        limit_k=permitted_k,
        limits_k=(lowest_k, highest_k),
        verdict=verdict,
        probability_within=probability_within(
            error_k=error_k,
            standard_u_k=budget.standard_u,
            degrees_of_freedom=budget.degrees_of_freedom,
            limits_k=(lowest_k, highest_k),
        ),
        remarks=tuple(remarks),
    )


def hand_lines(
    *,
    curve: ReferenceCurve,
    temperature_c: float,
    resistance_ohm: float,
    u_temperature_k: float,
    u_resistance_ohm: float,
) -> tuple[BudgetLine, BudgetLine]:
    """Budget lines of a point read by hand: the thermometer and the meter, nothing else.

    Parameters
    ----------
    curve : ReferenceCurve
        Its slope turns ohms into kelvin.
    temperature_c, resistance_ohm : float
        The readings. [°C], [Ω]
    u_temperature_k, u_resistance_ohm : float
        Their standard uncertainties. [K], [Ω]
    """
    thermometer = BudgetLine(
        quantity="thermometer",
        estimate=temperature_c,
        unit="°C",
        standard_u=u_temperature_k,
        distribution=Distribution.NORMAL,
        sensitivity=-1.0,
    )
    meter = BudgetLine(
        quantity="resistance meter",
        estimate=resistance_ohm,
        unit="Ω",
        standard_u=u_resistance_ohm,
        distribution=Distribution.NORMAL,
        sensitivity=curve.sensitivity_k_per_ohm(resistance_ohm),
    )
    return thermometer, meter


def _limits_k(curve: ReferenceCurve, temperature_c: float, limit_k: float | None) -> tuple[float, float]:
    if limit_k is not None:
        return -limit_k, limit_k
    return -curve.limit_k(temperature_c, -1.0), curve.limit_k(temperature_c, 1.0)


def _curve_lines(curve: ReferenceCurve, temperature_c: float, error_k: float) -> tuple[BudgetLine, ...]:
    half_width_k = curve.doubt_k(temperature_c, error_k)
    if half_width_k == 0.0:
        return ()
    quantity = "slope at the printed row" if curve.judges_only_printed_rows else "curve between printed rows"
    line = BudgetLine(
        quantity=quantity,
        estimate=0.0,
        unit="K",
        standard_u=rectangular_u(half_width_k),
        distribution=Distribution.RECTANGULAR,
        sensitivity=1.0,
    )
    return (line,)


def _curve_remarks(curve: ReferenceCurve, temperature_c: float, resistance_ohm: float) -> tuple[str, ...]:
    if curve.judges_only_printed_rows:
        row_c = min(curve.printed_temperatures_c, key=lambda printed_c: abs(printed_c - temperature_c))
        return (
            f"{curve.name} has {len(curve.rows)} rows: the indicated temperature follows the slope at its "
            f"{row_c:g} °C row.",
        )
    if not curve.reaches(resistance_ohm):
        return (
            f"{resistance_ohm:.6g} Ω lies beyond the printed curve: the indicated temperature follows the "
            "slope of its end.",
        )
    return ()
