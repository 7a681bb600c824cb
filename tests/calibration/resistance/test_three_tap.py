"""The three-tap ratio, against Ohm's law on a written-out series circuit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.resistance.three_tap import (
    FULL_SCALE_COUNT,
    ohm_per_count,
    ratio_count,
    resistance_from_ratio_count,
)

OHM = st.floats(50.0, 25_000.0)
REFERENCE = st.sampled_from([68.0, 750.0, 2700.0])


def tap_counts(device_ohm: float, reference_ohm: float, *, above_ohm: float, below_ohm: float) -> list[float]:
    """Counts of the three taps of a series circuit, by Ohm's law, converter offset of 2.5 counts added."""
    total = above_ohm + reference_ohm + device_ohm + below_ohm
    below = (reference_ohm + device_ohm + below_ohm, device_ohm + below_ohm, below_ohm)
    return [4096.0 * part / total + 2.5 for part in below]


@given(OHM, REFERENCE, st.floats(0.0, 500.0), st.floats(0.0, 500.0))
def test_switches_above_leads_below_and_offset_fall_out_of_the_ratio(
    device_ohm: float, reference_ohm: float, above_ohm: float, below_ohm: float
) -> None:
    c0, c1, c2 = tap_counts(device_ohm, reference_ohm, above_ohm=above_ohm, below_ohm=below_ohm)
    count = FULL_SCALE_COUNT * (c1 - c2) / (c0 - c2)
    assert resistance_from_ratio_count(count, reference_ohm) == pytest.approx(device_ohm, rel=1e-8)


@given(OHM, REFERENCE)
def test_count_and_ohms_are_each_other_s_inverse(device_ohm: float, reference_ohm: float) -> None:
    count = ratio_count(device_ohm, reference_ohm)
    assert resistance_from_ratio_count(count, reference_ohm) == pytest.approx(device_ohm, rel=1e-9)


@given(OHM, REFERENCE)
def test_the_step_of_the_converter_in_ohms_is_the_slope_of_the_inverse(
    device_ohm: float, reference_ohm: float
) -> None:
    count = ratio_count(device_ohm, reference_ohm)
    there = resistance_from_ratio_count(count + 0.01, reference_ohm)
    back = resistance_from_ratio_count(count - 0.01, reference_ohm)
    assert ohm_per_count(count, reference_ohm) == pytest.approx((there - back) / 0.02, rel=1e-4)


@pytest.mark.parametrize("count", [-1.0, 0.0, 4096.0, 5000.0])
def test_a_count_at_a_rail_gives_no_ohms(count: float) -> None:
    with pytest.raises(ValueError, match="rail"):
        resistance_from_ratio_count(count, 750.0)
