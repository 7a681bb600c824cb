"""A budget as a value: one line for each input quantity (JCGM 100:2008, clauses 5, 8 and Annex G)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from GTC import ureal
from scipy import stats

from calibration.uncertainty.trapezoid import ruling_rectangles, trapezoid_k, trapezoid_with_rest_k

#: Coverage probability of every expanded uncertainty: k = 2 with many degrees of freedom (EA-4/02).
COVERAGE_PROBABILITY = 0.9545


class Distribution(StrEnum):
    """Shape assigned to an input quantity."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    STUDENT = "Student t"


class CoverageRule(StrEnum):
    """How the coverage factor is chosen."""

    #: Student's t at the effective degrees of freedom, whatever the lines look like (JCGM 100, G.4).
    STUDENT = "student"
    #: One or two rectangles that rule set the shape alone (EA-4/02, supplement, S9 and S10).
    DOMINANT = "dominant"
    #: The same, with the rest of the budget in the shape: covers what it says.
    DOMINANT_WITH_REST = "dominant_with_rest"


class Shape(StrEnum):
    """Shape of the result that k belongs to."""

    STUDENT = "Student t"
    RECTANGLE = "one rectangle rules"
    TRAPEZOID = "two rectangles rule"


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One input quantity and what it adds to the result.

    Attributes
    ----------
    quantity : str
        Its name, in the words of the bench.
    estimate : float
        Best estimate. [unit]
    unit : str
        Unit of estimate and standard uncertainty.
    standard_u : float
        Standard uncertainty. [unit]
    distribution : Distribution
        Shape it was assigned.
    degrees_of_freedom : float
        Infinite where the line is type B.
    sensitivity : float
        Change of the result with the quantity. [result unit / unit]
    """

    quantity: str
    estimate: float
    unit: str
    standard_u: float
    distribution: Distribution
    sensitivity: float
    degrees_of_freedom: float = math.inf

    @property
    def contribution(self) -> float:
        """Standard uncertainty that the line adds. [result unit]"""
        return abs(self.sensitivity) * self.standard_u


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A result with the lines its uncertainty came from.

    Attributes
    ----------
    estimate : float
        The result. [unit]
    standard_u : float
        Combined standard uncertainty. [unit]
    degrees_of_freedom : float
        Effective, by Welch-Satterthwaite.
    k : float
        Coverage factor for `COVERAGE_PROBABILITY`, to two decimals.
    shape : Shape
        Shape of the result that ``k`` was taken from.
    """

    lines: tuple[BudgetLine, ...]
    estimate: float
    unit: str
    standard_u: float
    degrees_of_freedom: float
    k: float
    shape: Shape = Shape.STUDENT

    @property
    def expanded_u(self) -> float:
        """Expanded uncertainty, k times the combined standard uncertainty. [unit]"""
        return self.k * self.standard_u


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of a quantity equally likely within ± ``half_width`` (JCGM 100, 4.3.7)."""
    return abs(half_width) / math.sqrt(3.0)


def coverage_factor(degrees_of_freedom: float, probability: float = COVERAGE_PROBABILITY) -> float:
    """Coverage factor from Student's t.

    Parameters
    ----------
    degrees_of_freedom : float
        Effective; cut to the whole number below (JCGM 100, G.4.1). Infinite gives the normal distribution.
    probability : float
        Within the interval.

    Raises
    ------
    ValueError
        If there is less than one degree of freedom.
    """
    if degrees_of_freedom < 1:
        raise ValueError(f"{degrees_of_freedom:g} degrees of freedom give no coverage factor: read more.")
    # A float: where nearly all lines have endless degrees of freedom, no machine integer holds theirs.
    whole = float(math.floor(degrees_of_freedom)) if math.isfinite(degrees_of_freedom) else math.inf
    quantile = 0.5 + probability / 2.0
    return float(stats.norm.ppf(quantile) if math.isinf(whole) else stats.t.ppf(quantile, whole))


def combine(
    *,
    estimate: float,
    unit: str,
    lines: Sequence[BudgetLine],
    coverage: CoverageRule = CoverageRule.STUDENT,
) -> Budget:
    """Budget of a result from independent lines, by the law of propagation (JCGM 100, equation 10).

    Parameters
    ----------
    estimate : float
        The result. [unit]
    lines : sequence of BudgetLine
        Sensitivities in ``unit`` for each line's own unit.
    coverage : CoverageRule
        How k is chosen. Student's t covers at least what it says where rectangles rule; the others
        claim less, where the lines allow it.

    Raises
    ------
    ValueError
        If no line carries an uncertainty.
    """
    total = sum(
        (
            line.sensitivity * ureal(0.0, line.standard_u, line.degrees_of_freedom, label=line.quantity)
            for line in lines
        ),
        start=ureal(0.0, 0.0),
    )
    standard_u = float(total.u)
    if not standard_u > 0.0:
        raise ValueError("A budget without any uncertainty is no budget: give at least one line a value.")
    effective = float(total.df)
    k, shape = _factor(lines, standard_u, effective, coverage)
    return Budget(
        lines=tuple(lines),
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        degrees_of_freedom=effective,
        k=round(k, 2),
        shape=shape,
    )


def _factor(
    lines: Sequence[BudgetLine], standard_u: float, effective: float, rule: CoverageRule
) -> tuple[float, Shape]:
    rectangles = sorted(
        (line.contribution for line in lines if line.distribution is Distribution.RECTANGULAR), reverse=True
    )
    ruling = rectangles[: ruling_rectangles(rectangles, [line.contribution for line in lines])]
    if rule is CoverageRule.STUDENT or not ruling:
        return coverage_factor(effective), Shape.STUDENT
    shape = Shape.RECTANGLE if len(ruling) == 1 else Shape.TRAPEZOID
    half_widths = [math.sqrt(3.0) * contribution for contribution in ruling]
    if rule is CoverageRule.DOMINANT:
        return trapezoid_k(half_widths, COVERAGE_PROBABILITY), shape
    rest_u = math.sqrt(max(standard_u**2 - sum(contribution**2 for contribution in ruling), 0.0))
    return trapezoid_with_rest_k(half_widths, rest_u, COVERAGE_PROBABILITY), shape
