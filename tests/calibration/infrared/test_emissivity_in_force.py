import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.infrared.emissivity import Shot, Surface, reading_c
from calibration.infrared.emissivity_in_force import ShownOfFace, common_emissivity, emissivity_in_force
from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM
from calibration.infrared.radiation_law import FourthPower

PAINT = Surface(emissivity=0.96)


def shot(set_emissivity):
    return Shot(set_emissivity=set_emissivity, surroundings_c=23.0)


@given(st.floats(0.6, 1.0), st.floats(45.0, 120.0))
def test_a_bumped_switch_is_found_from_what_it_made_the_display_show(setting, face_c):
    law = FourthPower()
    shown_c = reading_c(face_c, surface=PAINT, shot=shot(setting), law=law)
    seen = ShownOfFace(face_c=face_c, shown_c=shown_c)
    found = emissivity_in_force(seen, surface=PAINT, shot=shot(0.95), law=law)
    assert found == pytest.approx(min(setting, 1.0), abs=1e-6)


def test_one_setting_explains_all_set_points_in_the_band_of_a_handheld():
    law = EIGHT_TO_FOURTEEN_UM
    seen = [
        ShownOfFace(face_c=face_c, shown_c=reading_c(face_c, surface=PAINT, shot=shot(0.8), law=law))
        for face_c in (45.0, 65.0, 90.0)
    ]
    assert common_emissivity(seen, surface=PAINT, shot=shot(0.95), law=law) == pytest.approx(0.8, abs=1e-4)


def test_a_display_far_too_low_has_no_setting_that_would_explain_it():
    seen = ShownOfFace(face_c=90.0, shown_c=70.0)
    assert emissivity_in_force(seen, surface=PAINT, shot=shot(0.95), law=FourthPower()) is None


def test_a_face_as_warm_as_the_room_tells_nothing_of_an_emissivity():
    seen = [ShownOfFace(face_c=30.0, shown_c=33.0)]
    with pytest.raises(InfraredError, match="go hotter"):
        common_emissivity(seen, surface=PAINT, shot=shot(0.95), law=FourthPower())
