"""Budget lines by the shape of what is known of a quantity (JCGM 100:2008, 4.2 and 4.3)."""

from calibration.uncertainty.budget import BudgetLine, Distribution, rectangular_u


def normal(quantity: str, estimate: float, unit: str, standard_u: float, sensitivity: float) -> BudgetLine:
    """Line of a quantity whose certificate or scatter is normal."""
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        distribution=Distribution.NORMAL,
        sensitivity=sensitivity,
    )


def rectangular(
    quantity: str, estimate: float, unit: str, half_width: float, sensitivity: float
) -> BudgetLine:
    """Line of a quantity that lies anywhere within a half-width."""
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=rectangular_u(half_width),
        distribution=Distribution.RECTANGULAR,
        sensitivity=sensitivity,
    )


def student(
    quantity: str, estimate: float, unit: str, standard_u: float, sensitivity: float, degrees: float
) -> BudgetLine:
    """Line of a quantity whose uncertainty was itself estimated from few readings."""
    return BudgetLine(
        quantity=quantity,
        estimate=estimate,
        unit=unit,
        standard_u=standard_u,
        distribution=Distribution.STUDENT,
        sensitivity=sensitivity,
        degrees_of_freedom=degrees,
    )
