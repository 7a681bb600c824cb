import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.rounding import decimals_of, rounded_text, two_digits


@pytest.mark.parametrize(
    ("expanded_u", "decimals"),
    [(0.25, 2), (0.0996, 2), (0.0994, 3), (1.3, 1), (9.96, 0), (520.0, -1), (31.66, 0), (1.0, 1), (10.0, 0)],
)
def test_an_uncertainty_keeps_two_significant_digits(expanded_u, decimals):
    assert decimals_of(expanded_u) == decimals


@pytest.mark.parametrize(
    ("number", "decimals", "text"),
    [
        (0.125, 2, "0.12"),
        (0.135, 2, "0.14"),
        (-0.004, 2, "0.00"),
        (26113.0, -1, "26110"),
        (89.94, 2, "89.94"),
        (-0.1494, 4, "-0.1494"),
    ],
)
def test_numbers_are_printed_to_the_place_asked_for(number, decimals, text):
    assert rounded_text(number, decimals) == text


@given(st.floats(1e-6, 1e6), st.floats(-1e6, 1e6))
def test_rounding_moves_a_number_by_less_than_a_twentieth_of_its_uncertainty(expanded_u, number):
    decimals = decimals_of(expanded_u)
    moved = abs(float(rounded_text(number, decimals)) - number)
    assert moved <= 0.05 * expanded_u * 1.01 + 1e-9 * math.fabs(number)


@pytest.mark.parametrize(
    ("uncertainty", "text"),
    [
        (0.2, "0.20"),
        (0.0199, "0.020"),
        (2.0, "2.0"),
        (99.6, "100"),
        (123.0, "120"),
        (3e-5, "0.000030"),
        (0, "0"),
    ],
)
def test_an_uncertainty_stands_in_two_plain_digits_however_round_or_large_it_is(uncertainty, text):
    # JCGM 100:2008, 7.2.6: at most two significant digits; a zero at the end is one of them.
    assert two_digits(uncertainty) == text


@pytest.mark.parametrize("expanded_u", [0.0, -1.0, math.nan])
def test_only_a_positive_uncertainty_tells_how_to_round(expanded_u):
    with pytest.raises(ValueError, match="positive uncertainty"):
        decimals_of(expanded_u)
