import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.corrected_thermometer import (
    Basis,
    CertifiedCorrection,
    CorrectedThermometer,
    ThermometerError,
)
from calibration.infrared.emissivity import Shot, Surface, reading_c
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


def test_just_beyond_the_certificate_its_end_is_held_and_less_sure():
    """The steepest step has 0.6 K and a U of 0.9 K over 20 K; a rectangle a has a/√3 (JCGM 100, 4.3.7)."""
    with_limits = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=POINTS)
    for thermometer in (CERTIFIED, with_limits):
        found = thermometer.correction_at(98.0)
        assert (found.correction_k, found.basis) == (-1.1, Basis.HELD)
        assert found.standard_u_k == pytest.approx(
            math.hypot(1.2 / 2.0, 8.0 * 1.5 / 20.0 / 3.0**0.5, 0.1 / 12.0**0.5)
        )
        assert "not certified there (certified from 40.0 to 90.0 °C)" in found.words
        assert "at 90.0 °C" in found.words


@given(st.floats(1e-6, 10.0))
def test_a_certificate_does_not_let_go_at_its_end(beyond_k):
    """The next shown digit beyond the last point is corrected nearly as that point is."""
    for end, shown_c in ((POINTS[0], 40.0 - beyond_k), (POINTS[-1], 90.0 + beyond_k)):
        at_the_end, found = CERTIFIED.correction_at(end.shown_c), CERTIFIED.correction_at(shown_c)
        assert found.correction_k == end.correction_k
        assert (
            at_the_end.standard_u_k
            <= found.standard_u_k
            <= at_the_end.standard_u_k + 0.075 / 3.0**0.5 * beyond_k
        )


def test_far_beyond_the_certificate_the_makers_limits_count_and_that_is_said():
    both = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=POINTS)
    found = both.correction_at(100.1)
    assert (found.correction_k, found.basis) == (0.0, Basis.MAKER)
    assert "not certified there" in found.words and "nothing corrected" in found.words
    with pytest.raises(
        ThermometerError, match=r"certified from 40.0 to 90.0 °C, and 100.1 °C is more than 10 K"
    ):
        CERTIFIED.correction_at(100.1)


@pytest.mark.parametrize(
    ("held_c", "beyond_c"),
    [(15.0, 14.9), (100.0, 100.1)],  # half of 10 K below, and no more than 10 K of the half of 60 K above
)
def test_how_far_an_end_is_held_is_told_by_the_step_next_to_it(held_c, beyond_c):
    points = tuple(
        CertifiedCorrection(shown_c=shown_c, correction_k=0.5, expanded_u_k=0.8)
        for shown_c in (20.0, 30.0, 90.0)
    )
    thermometer = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=points)
    assert thermometer.correction_at(held_c).basis is Basis.HELD
    assert thermometer.correction_at(beyond_c).basis is Basis.MAKER


def test_a_thermometer_that_reads_too_high_breaks_its_makers_promise_as_one_that_reads_too_low():
    points = tuple(
        CertifiedCorrection(shown_c=shown_c, correction_k=-2.5, expanded_u_k=0.8) for shown_c in (40.0, 80.0)
    )
    off = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=points)
    with pytest.raises(ThermometerError, match=r"corrects by -2.5 K, more than they allow"):
        off.correction_at(95.0)


def test_a_limit_in_percent_counts_below_zero_as_it_does_above():
    thermometer = CorrectedThermometer(resolution_k=0.1, accuracy_k=0.1, accuracy_percent=2.5)
    assert thermometer.limit_at_k(-20.0) == thermometer.limit_at_k(20.0) == pytest.approx(0.5)


def test_a_makers_promise_that_the_certificate_disproves_counts_nowhere():
    """Off by 6.3 K at 86 °C where ±2 K were promised: beyond, it is nothing that one could rely on."""
    points = (
        CertifiedCorrection(shown_c=44.0, correction_k=1.4, expanded_u_k=1.0),
        CertifiedCorrection(shown_c=86.03, correction_k=6.3, expanded_u_k=2.6),
    )
    off = CorrectedThermometer(resolution_k=0.1, accuracy_k=2.0, points=points)
    assert off.correction_at(86.2).correction_k == 6.3
    with pytest.raises(ThermometerError, match=r"at 86.0 °C its certificate corrects by \+6.3 K"):
        off.correction_at(96.1)


@pytest.mark.parametrize("set_to", [0.98, 0.9, 0.8, 0.6])
@pytest.mark.parametrize("offset_k", [-1.0, 0.0, 1.5])
def test_a_thermometer_whose_switch_was_bumped_is_held_within_its_uncertainty_beyond_both_ends(
    set_to, offset_k
):
    """Planck's law says how its error goes on: with the signal above the room, ever steeper."""
    surface, law = Surface(emissivity=0.95, half_width=0.0), EIGHT_TO_FOURTEEN_UM
    meant, bumped = (Shot(set_emissivity=value, surroundings_c=23.0) for value in (0.95, set_to))

    def shown_and_correction(true_c):
        expected, shown = (reading_c(true_c, surface=surface, shot=shot, law=law) for shot in (meant, bumped))
        return shown + offset_k, expected - shown - offset_k

    points = tuple(
        CertifiedCorrection(shown_c=shown_c, correction_k=correction_k, expanded_u_k=1.0)
        for shown_c, correction_k in map(shown_and_correction, (45.0, 65.0, 90.0))
    )
    thermometer = CorrectedThermometer(resolution_k=0.1, points=points)
    for end_c in (45.0, 90.0):
        true_c = end_c
        while True:
            true_c += 0.5 if end_c == 90.0 else -0.5
            shown_c, correction_k = shown_and_correction(true_c)
            try:
                found = thermometer.correction_at(shown_c)
            except ThermometerError:
                break
            # The certificate's own U is not drawn here: what is held must be covered by what was widened.
            widened_k = 2.0 * math.sqrt(found.standard_u_k**2 - 0.5**2)
            assert abs(found.correction_k - correction_k) <= widened_k
        assert abs(true_c - end_c) > 5.0


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


def handheld(**more):
    return Handheld(
        thermometer=CERTIFIED,
        optics=Optics(distance_to_spot=12.0),
        band=EIGHT_TO_FOURTEEN_UM,
        **{"fixed_emissivity": None, **more},
    )


def test_corrections_hold_for_the_setting_they_were_found_with():
    at_095 = handheld(certified_emissivity=0.95)
    assert at_095.refusal_at(0.95) == at_095.refusal_at(0.9501) == ""
    assert "set to 0.95, not 0.6. Set it to 0.95 and shoot again" in at_095.refusal_at(0.6)
    assert "fixed at 0.97" in handheld(fixed_emissivity=0.97).refusal_at(0.95)
    assert handheld().has_unknown_setting
    assert not (at_095.has_unknown_setting or handheld(fixed_emissivity=0.95).has_unknown_setting)


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
