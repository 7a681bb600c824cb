import csv
import math
import tomllib
from pathlib import Path

import pytest

from calibration.uncertainty.budget import (
    BudgetLine,
    Distribution,
    combine,
    coverage_factor,
    rectangular_u,
)

PUBLISHED = Path(__file__).parents[1] / "published"
H1 = tomllib.loads((PUBLISHED / "jcgm100_h1.toml").read_text("utf-8"))
# Printed cells that differ from exact Student's t.
MISPRINTED = {("1", "99.73"), ("35", "90")}


def t_table():
    lines = (PUBLISHED / "nist_tn1297_b1.csv").read_text("utf-8").splitlines()
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        for percent, printed in row.items():
            if percent != "nu" and (row["nu"], percent) not in MISPRINTED:
                yield row["nu"], percent, printed


@pytest.mark.parametrize(("nu", "percent", "printed"), list(t_table()))
def test_coverage_factors_are_those_of_the_nist_table(nu, percent, printed):
    half_a_digit = 0.5 * 10.0 ** -len(printed.split(".")[1])
    # The table heads 68.27, 95.45 and 99.73 stand for one, two and three sigma.
    probability = {"68.27": 0.682689, "95.45": 0.954500, "99.73": 0.997300}.get(percent, float(percent) / 100)
    found = coverage_factor(float(nu), probability)
    assert found == pytest.approx(float(printed), abs=half_a_digit * 1.0001)


def h1_budget():
    lines = [
        BudgetLine(
            quantity=line["quantity"],
            estimate=0.0,
            unit="nm",
            standard_u=line["standard_u"] if "standard_u" in line else rectangular_u(line["half_width"]),
            distribution=Distribution.NORMAL if "standard_u" in line else Distribution.RECTANGULAR,
            degrees_of_freedom=line["degrees_of_freedom"],
            sensitivity=line["sensitivity"],
        )
        for line in H1["line"]
    ]
    return combine(estimate=50_000_838.0, unit="nm", lines=lines)


def test_the_gum_end_gauge_has_its_combined_uncertainty():
    expected = H1["expected"]
    assert h1_budget().standard_u == pytest.approx(
        expected["combined_u_nm"], abs=expected["combined_u_tolerance"]
    )


def test_the_gum_end_gauge_has_its_effective_degrees_of_freedom():
    assert math.floor(h1_budget().degrees_of_freedom) == H1["expected"]["effective_degrees_of_freedom"]


def test_the_gum_end_gauge_has_its_99_percent_uncertainty():
    expected, budget = H1["expected"], h1_budget()
    k_99 = coverage_factor(budget.degrees_of_freedom, 0.99)
    assert k_99 == pytest.approx(expected["coverage_factor_99"], abs=expected["coverage_factor_tolerance"])
    assert k_99 * budget.standard_u == pytest.approx(
        expected["expanded_u_99_nm"], abs=expected["expanded_u_tolerance"]
    )


def test_a_dominant_line_read_three_times_widens_the_factor():
    few = BudgetLine(
        quantity="repeatability",
        estimate=0.0,
        unit="K",
        standard_u=0.1,
        distribution=Distribution.STUDENT,
        sensitivity=1.0,
        degrees_of_freedom=2,
    )
    budget = combine(estimate=0.0, unit="K", lines=[few])
    assert budget.k == 4.53  # NIST TN 1297 Table B.1, nu = 2, 95.45 %
    assert budget.expanded_u == pytest.approx(0.453)


def test_a_budget_without_uncertainty_is_refused():
    with pytest.raises(ValueError, match="no budget"):
        combine(estimate=0.0, unit="K", lines=[])


def test_less_than_one_degree_of_freedom_gives_no_factor():
    with pytest.raises(ValueError, match="read more"):
        coverage_factor(0.5)


@pytest.mark.parametrize("degrees_of_freedom", [1e6, 1e15, 1e19, 1e300])
def test_very_many_degrees_of_freedom_are_as_good_as_endless(degrees_of_freedom):
    assert coverage_factor(degrees_of_freedom) == pytest.approx(coverage_factor(math.inf), rel=1e-5)
