import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.uncertainty.budget import (
    BudgetLine,
    CoverageRule,
    Distribution,
    Shape,
    combine,
)
from calibration.uncertainty.trapezoid import ruling_rectangles, trapezoid_k, trapezoid_with_rest_k

EA = tomllib.loads((Path(__file__).parents[1] / "published" / "ea402.toml").read_text("utf-8"))
BY_NAME = {example["name"].split()[0]: example for example in EA["example"]}
widths = st.floats(0.01, 100.0)
probabilities = st.floats(0.5, 0.999)


def budget_of(example, coverage=CoverageRule.DOMINANT):
    lines = [
        BudgetLine(
            quantity=line["quantity"],
            estimate=0.0,
            unit="1",
            standard_u=line["u"],
            distribution=Distribution(line["shape"]),
            degrees_of_freedom=line.get("dof", math.inf),
            sensitivity=line["c"],
        )
        for line in example["lines"]
    ]
    return combine(estimate=0.0, unit=example["unit"], lines=lines, coverage=coverage)


@pytest.mark.parametrize("example", EA["example"], ids=lambda example: example["name"])
def test_the_worked_examples_come_out_within_one_percent(example):
    budget = budget_of(example)
    assert budget.standard_u == pytest.approx(example["combined_u"], rel=0.01)
    assert budget.k == pytest.approx(example["k"], rel=0.01)
    printed = str(example["expanded_u"])
    half_a_digit = 0.5 * 10.0 ** -len(printed.split(".")[1]) if "e" not in printed else 5e-5
    assert budget.expanded_u == pytest.approx(example["expanded_u"], abs=half_a_digit)


def test_the_weight_s_three_readings_cost_more_than_the_stated_factor_of_two():
    budget = budget_of(BY_NAME["S2"])
    assert budget.shape is Shape.STUDENT
    assert budget.k > BY_NAME["S2"]["k_stated"]


def test_one_rectangle_rules_the_multimeter_and_the_budget_says_so():
    budget = budget_of(BY_NAME["S9"])
    assert budget.shape is Shape.RECTANGLE
    assert budget_of(BY_NAME["S9"], CoverageRule.STUDENT).k == 2.0
    assert budget_of(BY_NAME["S9"], CoverageRule.STUDENT).shape is Shape.STUDENT


def test_the_largest_rectangle_of_the_thermocouple_does_not_rule():
    assert budget_of(BY_NAME["S5"]).shape is Shape.STUDENT


def test_two_unequal_rectangles_have_the_factor_of_the_caliper():
    example = EA["trapezoid"]
    assert trapezoid_k(example["half_widths"], example["probability"]) == pytest.approx(
        example["k"], abs=example["tolerance"]
    )


def test_the_printed_rule_covers_a_little_less_than_it_says_and_the_exact_shape_does_not():
    # S9: a rectangle with a normal rest of 0.22 of it
    half_width, rest_u = 0.029 * math.sqrt(3.0), math.hypot(0.001, 0.0064)
    chance = np.random.default_rng(9)
    drawn = np.abs(chance.uniform(-half_width, half_width, 400_000) + chance.normal(0.0, rest_u, 400_000))
    standard_u = math.hypot(0.029, rest_u)
    printed = np.mean(drawn <= round(trapezoid_k([half_width], 0.95), 2) * standard_u)
    exact = np.mean(drawn <= trapezoid_with_rest_k([half_width], rest_u, 0.95) * standard_u)
    assert printed == pytest.approx(0.936, abs=0.002)
    assert exact == pytest.approx(0.95, abs=0.0015)


@given(wide=widths, ratio=st.floats(0.01, 1.0), probability=probabilities)
def test_the_factor_covers_what_it_says(wide, ratio, probability):
    # area under the trapezoid's own sides, written apart from the formula
    narrow = wide * ratio
    end = trapezoid_k([wide, narrow], probability) * math.sqrt((wide**2 + narrow**2) / 3.0)
    top, reach = wide - narrow, wide + narrow
    height = 1.0 / (top + reach)
    if end <= top:
        inside = 2.0 * end * height
    else:
        inside = 1.0 - height * (reach - end) ** 2 / (reach - top)
    assert inside == pytest.approx(probability, abs=1e-9)


@given(half_widths=st.lists(widths, min_size=1, max_size=2), probability=probabilities)
def test_without_a_rest_both_rules_are_one(half_widths, probability):
    alone = trapezoid_k(half_widths, probability)
    assert trapezoid_with_rest_k(half_widths, 0.0, probability) == alone
    reach = 1e-4 * max(half_widths)
    if min(half_widths) > 0.05 * max(half_widths):
        assert trapezoid_with_rest_k(half_widths, reach, probability) == pytest.approx(alone, rel=1e-3)


@given(half_widths=st.lists(st.floats(0.5, 2.0), min_size=1, max_size=2))
def test_a_large_normal_rest_leaves_a_normal_factor(half_widths):
    assert trapezoid_with_rest_k(half_widths, 100.0, 0.9545) == pytest.approx(2.0, abs=0.001)


@given(first=widths, second=widths)
def test_the_order_of_the_rectangles_does_not_matter(first, second):
    assert trapezoid_k([first, second], 0.95) == trapezoid_k([second, first], 0.95)


@pytest.mark.parametrize(
    ("rectangles", "others", "ruling"),
    [
        ([1.0], [], 1),
        ([1.0], [0.29], 1),
        ([1.0], [0.31], 0),
        ([1.0, 0.5], [], 2),
        ([1.0, 0.2], [], 1),
        ([1.0, 1.0, 1.0], [], 0),
        ([], [1.0], 0),
        ([0.0], [0.0], 0),
    ],
)
def test_what_rules_a_budget(rectangles, others, ruling):
    assert ruling_rectangles(rectangles, [*rectangles, *others]) == ruling


@pytest.mark.parametrize("half_widths", [[], [0.0], [1.0, 1.0, 1.0]])
def test_no_rectangle_and_three_are_refused(half_widths):
    with pytest.raises(ValueError, match="One or two"):
        trapezoid_k(half_widths, 0.95)
