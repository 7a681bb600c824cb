import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM
from calibration.infrared.spot import (
    Optics,
    accept_filling,
    accept_target,
    filled_share,
    size_of_source_line,
)

TWELVE_TO_ONE = Optics(distance_to_spot=12.0, smallest_spot_mm=13.0)


def test_twelve_to_one_at_thirty_centimetres_sees_25_millimetres():
    # as printed on such thermometers: distance over spot
    assert TWELVE_TO_ONE.spot_mm(300.0) == pytest.approx(25.0)


def test_closer_than_its_focus_the_spot_stays():
    assert TWELVE_TO_ONE.spot_mm(10.0) == 13.0


@pytest.mark.parametrize(("target_mm", "distance_mm"), [(50.0, 300.0), (100.0, 600.0)])
def test_a_target_of_two_spots_is_taken(target_mm, distance_mm):
    assert accept_target(TWELVE_TO_ONE, distance_mm=distance_mm, target_mm=target_mm) == target_mm / 2.0


def test_a_smaller_target_is_refused_with_the_distance_that_would_do():
    with pytest.raises(InfraredError, match="240 mm") as refused:
        accept_target(TWELVE_TO_ONE, distance_mm=300.0, target_mm=40.0)
    assert accept_target(TWELVE_TO_ONE, distance_mm=240.0, target_mm=40.0) == 20.0
    assert "50 mm" in str(refused.value)


def test_a_target_too_small_at_any_distance_says_so():
    with pytest.raises(InfraredError, match="at least 26 mm wide"):
        accept_target(TWELVE_TO_ONE, distance_mm=300.0, target_mm=20.0)


@given(
    ratio=st.floats(4.0, 60.0),
    distance_mm=st.floats(20.0, 3000.0),
    target_mm=st.floats(1.0, 1000.0),
)
def test_no_target_under_two_spots_is_ever_taken(ratio, distance_mm, target_mm):
    optics = Optics(distance_to_spot=ratio)
    try:
        spot_mm = accept_target(optics, distance_mm=distance_mm, target_mm=target_mm)
    except InfraredError:
        assert target_mm < 2.0 * optics.spot_mm(distance_mm)
    else:
        assert target_mm >= 2.0 * spot_mm


def test_a_wide_sensor_before_a_small_plate_is_kelvins_wrong_and_refused():
    # 90° at 10 mm from a plate of 30 mm. The design reckons 7 K; this pattern gives 9 to 10 K at 90 °C.
    share = filled_share(view_deg=90.0, distance_mm=10.0, target_mm=30.0)
    band = EIGHT_TO_FOURTEEN_UM
    seen = share * band.signal(90.0) + (1.0 - share) * band.signal(23.0)
    assert 7.0 <= 90.0 - band.temperature_c(seen) <= 10.5
    with pytest.raises(InfraredError, match="narrow sensor"):
        accept_filling(view_deg=90.0, distance_mm=10.0, target_mm=30.0)


def test_a_narrow_sensor_before_a_plate_of_100_millimetres_is_taken():
    assert accept_filling(view_deg=10.0, distance_mm=100.0, target_mm=100.0) >= 0.995


@given(view_deg=st.floats(2.0, 150.0), distance_mm=st.floats(1.0, 500.0))
def test_half_the_sensitivity_stands_at_half_the_angle_and_a_larger_plate_fills_more(view_deg, distance_mm):
    shares = [
        filled_share(view_deg=view_deg, distance_mm=distance_mm, target_mm=size) for size in (1.0, 10.0, 1e3)
    ]
    assert 0.0 < shares[0] <= shares[1] <= shares[2] <= 1.0


@pytest.mark.parametrize(
    ("view_deg", "distance_mm", "target_mm"), [(0.0, 1.0, 1.0), (180.0, 1.0, 1.0), (10.0, 0.0, 1.0)]
)
def test_a_view_that_cannot_be_is_refused(view_deg, distance_mm, target_mm):
    with pytest.raises(InfraredError):
        filled_share(view_deg=view_deg, distance_mm=distance_mm, target_mm=target_mm)


def test_one_percent_from_beside_is_half_a_kelvin():
    # 1 % is 0.5 K in the design's own reckoning
    line = size_of_source_line(surface_c=90.0, beside_c=23.0, law=EIGHT_TO_FOURTEEN_UM)
    assert line.standard_u * 3**0.5 == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("ratio", [0.0, -12.0, float("inf")])
def test_a_ratio_that_cannot_be_is_refused(ratio):
    with pytest.raises(InfraredError, match="printed on the thermometer"):
        Optics(distance_to_spot=ratio)


def test_no_distance_has_no_spot():
    with pytest.raises(InfraredError):
        TWELVE_TO_ONE.spot_mm(0.0)
