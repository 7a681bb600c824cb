import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.infrared.emissivity import Surface
from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import RIG_SENSOR_BAND
from calibration.infrared.relinearise import FULL_CELL, emissivity_from_cell, relinearised_c
from rig.sim.bodies import seen_by_infrared_c

cells = st.integers(int(0.3 * FULL_CELL), FULL_CELL)


@given(
    target_c=st.floats(20.0, 110.0), body_c=st.floats(10.0, 45.0), cell=cells, emissivity=st.floats(0.5, 1.0)
)
def test_whatever_stood_in_the_cell_the_target_is_found(target_c, body_c, cell, emissivity):
    # the simulated silicon, written apart from this, is the other side
    set_to = emissivity_from_cell(cell)
    shown_c = seen_by_infrared_c(target_c=target_c, body_c=body_c, emissivity=emissivity, cell=set_to)
    try:
        found_c = relinearised_c(
            shown_c, body_c=body_c, cell_emissivity=set_to, surface=Surface(emissivity=emissivity)
        )
    except InfraredError:
        assert not -60.0 <= shown_c <= 500.0
        return
    assert found_c == pytest.approx(target_c, abs=1e-6)


def test_a_cell_left_at_two_thirds_is_tens_of_kelvins_wrong_until_put_right():
    shown_c = seen_by_infrared_c(target_c=90.0, body_c=24.0, emissivity=0.95, cell=0.65)
    assert shown_c - 90.0 > 20.0
    found_c = relinearised_c(shown_c, body_c=24.0, cell_emissivity=0.65, surface=Surface(emissivity=0.95))
    assert found_c == pytest.approx(90.0, abs=1e-9)


def test_another_law_tells_how_much_hangs_on_the_law():
    by_law = {
        law: relinearised_c(
            90.0,
            body_c=24.0,
            cell_emissivity=1.0,
            surface=Surface(emissivity=0.95),
            law=law,
        )
        for law in (None, RIG_SENSOR_BAND)
    }
    assert by_law[None] == pytest.approx(by_law[RIG_SENSOR_BAND], abs=0.5)
    assert all(90.0 < found_c < 95.0 for found_c in by_law.values())


def test_a_hot_engine_before_a_cold_sensor_can_be_told_apart():
    alike = {
        around_c: relinearised_c(
            70.0,
            body_c=24.0,
            cell_emissivity=0.95,
            surface=Surface(emissivity=0.9),
            surroundings_c=around_c,
        )
        for around_c in (24.0, 90.0)
    }
    assert alike[90.0] < alike[24.0]


@pytest.mark.parametrize("cell", [0, -1, FULL_CELL + 1])
def test_a_cell_that_holds_no_emissivity_is_refused(cell):
    with pytest.raises(InfraredError, match="Read the cell again"):
        emissivity_from_cell(cell)
