import math

import pytest

from calibration.uncertainty.budget import BudgetLine, CoverageRule, Distribution, combine
from calibration.uncertainty.budget_table import table_of


def line(quantity, standard_u, **changes):
    usual = {
        "estimate": 0.0,
        "unit": "K",
        "distribution": Distribution.NORMAL,
        "sensitivity": 1.0,
        "degrees_of_freedom": math.inf,
    }
    return BudgetLine(quantity=quantity, standard_u=standard_u, **{**usual, **changes})


def table(**changes):
    lines = [
        line("probe", 0.05),
        line("stem", 0.12, distribution=Distribution.RECTANGULAR),
        line("meter", 0.5, unit="Ω", sensitivity=0.026, degrees_of_freedom=9.7),
    ]
    return table_of(combine(estimate=1.23456, unit="K", lines=lines, **changes))


def test_the_largest_contribution_stands_first_and_shares_add_up():
    rows = table().rows
    assert [row[0] for row in rows] == ["stem", "probe", "meter"]
    assert sum(int(row[-1].removesuffix(" %")) for row in rows) in (99, 100, 101)


def test_numbers_are_rounded_to_what_they_are_worth():
    result = dict(table().result)
    assert result["result"] == "1.23 K"
    assert result["standard uncertainty"] == "0.131 K"
    assert result["expanded uncertainty"] == "0.26 K"
    assert result["coverage factor"].startswith("2.00 (95.45 %")


def test_degrees_of_freedom_are_cut_and_infinite_ones_are_a_sign():
    by_name = {row[0]: row for row in table().rows}
    assert by_name["meter"][5] == "9"
    assert by_name["probe"][5] == "∞"
    assert by_name["meter"][7] == "0.013"  # 0.5 Ω times 0.026 K/Ω


def test_a_hundred_million_degrees_of_freedom_are_not_printed():
    few = line("repeatability", 0.0005, degrees_of_freedom=4.0)
    budget = combine(estimate=0.0, unit="K", lines=[line("probe", 0.1), few])
    assert dict(table_of(budget).result)["effective degrees of freedom"] == "over 10000"


def test_the_shape_that_gave_the_factor_is_printed():
    rectangle = line("emissivity", 1.0, distribution=Distribution.RECTANGULAR)
    budget = combine(estimate=100.0, unit="°C", lines=[rectangle], coverage=CoverageRule.DOMINANT_WITH_REST)
    result = dict(table_of(budget).result)
    assert "one rectangle rules" in result["coverage factor"]
    assert result["result"].endswith("°C")
    assert result["expanded uncertainty"].endswith(" K")


def test_the_text_stands_in_columns():
    lines = table().text().splitlines()
    end = lines[0].index("sensitivity") + len("sensitivity")
    assert [lines[row][:end].split()[-1] for row in (1, 2, 3)] == ["1", "1", "0.026"]
    assert lines[-1] == "expanded uncertainty: 0.26 K"


def test_only_the_columns_asked_for_are_printed():
    lines = table().text("quantity", "share").splitlines()
    assert lines[0].split() == ["quantity", "share"]
    assert lines[1].split() == ["stem", "84", "%"]
    with pytest.raises(ValueError, match="not in tuple"):
        table().text("colour")


def test_a_line_that_adds_nothing_is_still_shown():
    budget = combine(estimate=0.0, unit="K", lines=[line("probe", 0.1), line("steam", 0.0)])
    assert [row[0] for row in table_of(budget).rows] == ["probe", "steam"]
