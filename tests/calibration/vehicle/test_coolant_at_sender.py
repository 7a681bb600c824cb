"""The coolant behind the head: 0 to 5 K warmer than the metal there (common practice, width assumed)."""

import math

import pytest

from calibration.vehicle.coolant_at_sender import coolant_behind
from calibration.vehicle.in_place import InPlaceError, InPlaceReading, Where


def test_the_coolant_is_the_middle_of_what_the_head_allows_and_the_span_is_a_rectangle():
    coolant = coolant_behind(InPlaceReading(where=Where.HEAD, temperature_c=88.0, expanded_u_k=2.0))
    assert coolant.temperature_c == pytest.approx(90.5)
    # JCGM 100, 4.3.7: a rectangle of half-width 2.5 K, beside U/2 of the reading.
    assert coolant.standard_u_k == pytest.approx(math.sqrt(1.0**2 + 2.5**2 / 3.0))


def test_no_other_place_says_how_hot_the_coolant_is():
    with pytest.raises(InPlaceError, match="head"):
        coolant_behind(InPlaceReading(where=Where.OUTLET_HOSE, temperature_c=80.0, expanded_u_k=2.0))
