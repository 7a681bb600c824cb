import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.rounding import decimals_of, limit_text, rounded_text, tabled_limit_text, two_digits


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


@pytest.mark.parametrize(
    ("limit", "expanded_u", "text"),
    [
        # As stated: every digit of it, however coarse U is; filled up to the places of U.
        (2.25, 1.3, "2.25"),
        (0.04, 1.3, "0.04"),
        (2.6, 16.0, "2.6"),
        (1.0, 0.36, "1.00"),
        (25.0, 120.0, "25"),
        (-2.25, 1.3, "-2.25"),
        # A hundredth of a value leaves a rest behind the tenth digit, and is stated all the same.
        (0.1 / 100.0 * 1234.5, 0.2, "1.2345"),
        # Worked out from a curve: one place further than U, two digits at least.
        (1.3926110901143574, 0.14, "1.393"),
        (12.345678912, 16.0, "12.3"),
        (0.0412345678, 1.3, "0.041"),
        (0.750475, 0.11, "0.750"),
        (0.005, 16.0, "0.0050"),
    ],
)
def test_a_limit_keeps_its_own_digits_and_is_never_rounded_to_the_places_of_u(limit, expanded_u, text):
    assert tabled_limit_text(limit, expanded_u) == text


@given(st.decimals("0.01", "99.99", places=2), st.floats(0.01, 30.0))
def test_whoever_reads_a_stated_limit_reads_the_one_that_was_compared_with(stated, expanded_u):
    assert float(tabled_limit_text(float(stated), expanded_u)) == float(stated)
    assert float(limit_text(float(stated), stated_places=1, derived_places=1)) == float(stated)
