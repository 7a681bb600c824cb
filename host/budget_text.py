"""A budget for a terminal of eighty columns."""

from calibration.uncertainty.budget import Budget
from calibration.uncertainty.budget_table import table_of


def budget_text(budget: Budget) -> str:
    """The columns a technician reads, largest contribution first, and what they come to."""
    table = table_of(budget)
    adds = next(heading for heading in table.header if heading.startswith("adds"))
    return table.text("quantity", "u", "unit", "shape", adds, "share")
