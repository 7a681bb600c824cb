"""The decade box by its certificate."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.resistance.decade_box import DecadeBoxCertificate

STEPS = {w * d: w * d * (1.0 + 1e-4 * w) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)}
BOX = DecadeBoxCertificate(
    residual_ohm=0.35, step_ohm=STEPS, expanded_u_relative=1e-4, expanded_u_ohm=0.03, k=2.0
)


@given(st.integers(0, 9999))
def test_the_steps_of_a_setting_add_up_to_it(setting_ohm: int) -> None:
    assert sum(BOX.steps_of(setting_ohm)) == setting_ohm


def test_a_setting_is_the_sum_of_its_certified_steps_and_the_residual() -> None:
    # 4,700 = 4000 + 400 + 200 + 100
    wanted = 0.35 + STEPS[4000] + STEPS[400] + STEPS[200] + STEPS[100]
    assert BOX.true_ohm(4700) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("setting_ohm", [10_000, 12_345, -1])
def test_a_setting_the_box_cannot_make_is_refused_and_its_highest_named(setting_ohm: int) -> None:
    with pytest.raises(ValueError, match="9999"):
        BOX.true_ohm(setting_ohm)


def test_the_uncertainty_of_the_certificate_is_divided_by_its_coverage_factor() -> None:
    assert BOX.relative_standard_u() == 5e-5
    assert BOX.fixed_standard_u_ohm() == 0.015
