import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.corrected_thermometer import CertifiedCorrection, CorrectedThermometer, ThermometerError
from calibration.infrared.errors import InfraredError
from calibration.infrared.handheld import Handheld
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM
from calibration.infrared.spot import Optics

POINTS = (
    CertifiedCorrection(shown_c=40.0, correction_k=0.4, expanded_u_k=0.8),
    CertifiedCorrection(shown_c=60.0, correction_k=-0.2, expanded_u_k=0.9),
    CertifiedCorrection(shown_c=90.0, correction_k=-1.1, expanded_u_k=1.2),
)
CERTIFIED = CorrectedThermometer(resolution_k=0.1, points=POINTS)
AS_BOUGHT = CorrectedThermometer(resolution_k=1.0, accuracy_k=2.0, accuracy_percent=2.5)


@pytest.mark.parametrize("point", POINTS)
def test_at_a_certified_point_the_certificate_is_followed(point):
    found = CERTIFIED.correction_at(point.shown_c)
    assert found.is_certified
    assert found.correction_k == pytest.approx(point.correction_k)
    assert found.standard_u_k == pytest.approx(math.hypot(point.expanded_u_k / 2.0, 0.1 / 12.0**0.5))


def test_half_way_between_two_points_the_correction_is_half_way_and_less_sure():
    found = CERTIFIED.correction_at(75.0)
    assert found.correction_k == pytest.approx(-0.65)
    assert found.standard_u_k == pytest.approx(math.hypot(1.05 / 2.0, 0.225 / 3.0**0.5, 0.1 / 12.0**0.5))


@given(st.floats(40.0, 90.0))
def test_corrections_stay_between_those_of_the_neighbours(shown_c):
    found = CERTIFIED.correction_at(shown_c)
    assert -1.1 <= found.correction_k <= 0.4
    assert found.standard_u_k >= 0.4


def test_beyond_the_certificate_the_makers_limits_count_and_nothing_is_corrected():
    both = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=POINTS)
    found = both.correction_at(90.1)
    assert (found.correction_k, found.is_certified) == (0.0, False)
    with pytest.raises(ThermometerError, match="covers 40 to 90 °C, and 90.1 °C is outside"):
        CERTIFIED.correction_at(90.1)


def test_the_larger_of_kelvin_and_percent_counts():
    """A rectangle of half-width a has the standard uncertainty a/√3 (JCGM 100, 4.3.7)."""
    assert AS_BOUGHT.correction_at(40.0).standard_u_k == pytest.approx(math.hypot(2.0, 0.5) / 3.0**0.5)
    assert AS_BOUGHT.correction_at(100.0).standard_u_k == pytest.approx(math.hypot(2.5, 0.5) / 3.0**0.5)


def test_a_thermometer_of_which_nothing_is_known_is_not_used():
    with pytest.raises(ThermometerError, match="write one of them into the register"):
        CorrectedThermometer(resolution_k=0.1).correction_at(60.0)


def test_a_single_certified_point_counts_at_that_point():
    single = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=POINTS[:1])
    assert single.correction_at(40.0).correction_k == 0.4
    assert not single.correction_at(41.0).is_certified


def test_a_fixed_emissivity_cannot_be_set():
    fixed = Handheld(
        thermometer=AS_BOUGHT,
        fixed_emissivity=0.95,
        optics=Optics(distance_to_spot=12.0),
        band=EIGHT_TO_FOURTEEN_UM,
    )
    assert fixed.set_to(0.95) == 0.95
    with pytest.raises(InfraredError, match="fixed at an emissivity of 0.95"):
        fixed.set_to(0.9)
