import dataclasses
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.rounding import decimals_of
from host.certificates.printed import (
    degrees_of_freedom_text,
    fahrenheit,
    printed_point,
    printed_points,
    scientific,
    signed_text,
)

# JCGM 100:2008, 7.2.6 (from memory): y = 10.057 62 ohm with u_c = 27 milliohm is rounded to 10.058 ohm.
GUM_RESISTANCE_OHM, GUM_U_OHM, GUM_PRINTED = 10.05762, 0.027, "10.058"


@pytest.fixture
def point(sample):
    return sample.points[0]


def test_a_resistance_is_rounded_to_its_own_uncertainty_as_the_gum_does(point):
    changed = dataclasses.replace(
        point, resistance_ohm=GUM_RESISTANCE_OHM, u_resistance_ohm=GUM_U_OHM / 2.0, k=2.0
    )
    assert printed_point(changed).resistance_ohm == GUM_PRINTED
    assert printed_point(changed).expanded_u_resistance_ohm == "0.027"


def test_a_resistance_known_to_forty_ohms_is_printed_to_whole_ohms(point):
    changed = dataclasses.replace(point, resistance_ohm=2064.58, u_resistance_ohm=20.0, k=2.0)
    assert printed_point(changed).resistance_ohm == "2065"


def test_error_and_indicated_stand_at_the_place_of_the_uncertainty(point):
    changed = dataclasses.replace(
        point, temperature_c=89.9437, indicated_c=92.1412, error_k=2.1975, expanded_u_k=0.3049, limit_k=1.04
    )
    printed = printed_point(changed)
    assert (printed.temperature_c, printed.indicated_c) == ("89.94", "92.14")
    assert (printed.error_k, printed.expanded_u_k, printed.limit_k) == ("+2.20", "0.30", "1.04")


def test_boiling_and_freezing_stand_beside_their_fahrenheit_values(point):
    # Definition of the Fahrenheit scale: ice 32 °F, boiling water 212 °F; a difference of 1 K is 1.8 °F.
    assert fahrenheit(0.0) == 32.0
    assert fahrenheit(100.0) == pytest.approx(212.0)
    changed = dataclasses.replace(
        point, temperature_c=100.0, indicated_c=101.0, error_k=1.0, expanded_u_k=0.25, k=2.0
    )
    printed = printed_point(changed)
    assert (printed.temperature_f, printed.indicated_f) == ("212.00", "213.80")
    assert (printed.error_f, printed.expanded_u_f) == ("+1.80", "0.45")


def test_an_error_that_rounds_to_nothing_has_no_sign():
    assert signed_text(0.0004, 2) == "0.00"
    assert signed_text(-0.0004, 2) == "0.00"
    assert signed_text(-0.012, 2) == "-0.01"


def test_small_coefficients_are_powers_of_ten_and_large_ones_plain():
    assert scientific(1.4050719e-3, 8) == "1.4050719 × 10⁻³"
    assert scientific(3435.25, 6) == "3435.25"
    assert scientific(-0.144, 3) == "-0.144"
    assert scientific(0.0, 3) == "0"


def test_degrees_of_freedom_are_cut_never_rounded_up():
    assert degrees_of_freedom_text(18.99) == "18"
    assert degrees_of_freedom_text(float("inf")) == "∞"
    assert degrees_of_freedom_text(33841.2) == "> 1000"


def test_points_keep_the_order_of_the_certificate(make_certificate):
    certificate = make_certificate(temperatures_c=(90.0, 25.0, 60.0))
    assert [float(point.temperature_c) for point in printed_points(certificate)] == [90.0, 25.0, 60.0]


@given(
    number=st.floats(min_value=-150.0, max_value=400.0),
    expanded_u_k=st.floats(min_value=1e-4, max_value=50.0),
)
def test_no_printed_error_is_off_by_more_than_half_its_last_place(sample, number, expanded_u_k):
    changed = dataclasses.replace(sample.points[0], error_k=number, expanded_u_k=expanded_u_k)
    printed = printed_point(changed)
    half_place = Decimal(1).scaleb(-decimals_of(expanded_u_k)) / 2
    assert abs(Decimal(printed.error_k) - Decimal(repr(number))) <= half_place
