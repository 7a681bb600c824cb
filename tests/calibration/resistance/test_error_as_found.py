"""The error of a range before its correction, against ranges whose error is known by construction."""

import pytest

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.error_as_found import error_as_found
from calibration.resistance.ohms_check import (
    BoxReading,
    OhmsCheckError,
    correction_from_box,
    settings_for,
)
from calibration.resistance.three_tap import ratio_count

BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={weight * decade: float(weight * decade) for decade in (1, 10, 100, 1000)
              for weight in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)  # fmt: skip


def checked(reference_is_off: float, reference_ohm: float = 2700.0, ripple_count: float = 0.1):
    """Correction of a range whose reference resistor is off, read with a converter that ripples."""
    readings = [
        BoxReading(
            setting_ohm=setting,
            count=ratio_count(BOX.true_ohm(setting), reference_ohm * (1.0 + reference_is_off))
            + ripple_count * (-1) ** number,
        )
        for number, setting in enumerate(settings_for(reference_ohm, BOX))
    ]
    return correction_from_box(readings, reference_ohm=reference_ohm, certificate=BOX)


@pytest.mark.parametrize("off", [-0.002, 0.0, 0.0008, 0.003])
def test_a_reference_resistor_that_is_off_shows_as_found_by_as_much_with_the_sign_turned(off):
    # R is worked out with the nominal reference: too large a reference makes every resistance look too small.
    budget = error_as_found(checked(off), BOX, 2700.0)
    true_error_ohm = 2700.0 / (1.0 + off) - 2700.0
    assert budget.estimate == pytest.approx(true_error_ohm, abs=budget.expanded_u)
    assert error_as_found(checked(off, ripple_count=0.0), BOX, 2700.0).estimate == pytest.approx(
        true_error_ohm, abs=0.01
    )


def test_its_uncertainty_holds_the_box_and_what_the_correction_left():
    budget = error_as_found(checked(0.001), BOX, 2700.0)
    by_name = {line.quantity: line.standard_u for line in budget.lines}
    assert by_name["decade box, with the value"] == pytest.approx(2700.0 * 0.5e-4)
    assert by_name["decade box, residual"] == pytest.approx(0.015)
    # A ripple of 0.1 count with four degrees of freedom is some 0.13 counts; 2.6 Ω a count at the middle.
    ohm_a_count = 4.0 * 2700.0 / 4096.0
    assert by_name["correction and local nonlinearity"] == pytest.approx(0.14 * ohm_a_count, rel=0.25)


def test_nothing_is_said_beyond_what_was_checked():
    with pytest.raises(OhmsCheckError, match="nothing is said at 20000"):
        error_as_found(checked(0.001), BOX, 20_000.0)
