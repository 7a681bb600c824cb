"""The stem by two depths and the gradient by changing places, on baths whose truth is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.bath.gradient import (
    WANDER_BETWEEN_K,
    GradientError,
    MeasuredGradient,
    PlacedReading,
    gradient_from_swap,
)
from calibration.bath.immersion import (
    DECAY_MM,
    HEX_UNDER_WATER,
    DepthReading,
    StemError,
    stem_from_two_depths,
)

BATH_C, AIR_C = 92.0, 22.0


def at_depth(depth_mm: float, *, share_at_30mm: float, decay_mm: float, u_k: float = 0.005) -> DepthReading:
    share = share_at_30mm * math.exp(-(depth_mm - 30.0) / decay_mm)
    return DepthReading(depth_mm=depth_mm, error_k=0.4 - share * (BATH_C - AIR_C), standard_u_k=u_k)


@given(
    share=st.floats(0.0, 0.01),
    decay_mm=st.floats(*DECAY_MM),
    change_mm=st.floats(8.0, 25.0),
)
def test_the_true_loss_lies_within_what_two_depths_state(
    share: float, decay_mm: float, change_mm: float
) -> None:
    deep = at_depth(30.0 + change_mm, share_at_30mm=share, decay_mm=decay_mm)
    shallow = at_depth(30.0, share_at_30mm=share, decay_mm=decay_mm)
    found = stem_from_two_depths(shallow, deep, temperature_c=BATH_C, air_c=AIR_C)
    left = share * math.exp(-change_mm / decay_mm)
    assert abs(found.share - left) <= found.half_width + 1e-12
    assert found.depth_mm == deep.depth_mm


def test_one_case_by_hand() -> None:
    """0.14 K between 30 and 42 mm, 70 K above the air; q is exp(-12/8) to exp(-12/31)."""
    shallow = DepthReading(depth_mm=30.0, error_k=0.26, standard_u_k=0.003)
    deep = DepthReading(depth_mm=42.0, error_k=0.40, standard_u_k=0.004)
    found = stem_from_two_depths(shallow, deep, temperature_c=BATH_C, air_c=AIR_C)
    # 0.22313/0.77687 = 0.28722 and 0.67902/0.32098 = 2.11546, times 0.14/70 = 0.002
    assert found.share == pytest.approx(0.002 * (0.28722 + 2.11546) / 2, rel=1e-4)
    assert found.half_width == pytest.approx(0.002 * (2.11546 - 0.28722) / 2, rel=1e-4)
    assert found.standard_u == pytest.approx(0.005 / 70.0 * 1.20134, rel=1e-4)
    assert found.correction_k(82.0, 22.0) == pytest.approx(60.0 * found.share)
    assert found.standard_u_k(82.0, 22.0) == pytest.approx(
        60.0 * math.hypot(found.half_width / math.sqrt(3.0), found.standard_u)
    )


def test_a_sender_that_hardly_changes_with_depth_is_known_better_than_by_assumption() -> None:
    deep = at_depth(45.0, share_at_30mm=0.0004, decay_mm=12.0)
    shallow = at_depth(30.0, share_at_30mm=0.0004, decay_mm=12.0)
    found = stem_from_two_depths(shallow, deep, temperature_c=BATH_C, air_c=AIR_C)
    assert found.standard_u_k(BATH_C, AIR_C) < 0.5 * HEX_UNDER_WATER.standard_u_k(BATH_C, AIR_C)


def test_scatter_alone_neither_refuses_nor_promises_more_than_it_knows() -> None:
    chance = np.random.default_rng(8)
    shares, stated = [], []
    for _ in range(400):
        shallow, deep = (
            DepthReading(depth_mm=d, error_k=chance.normal(0.0, 0.005), standard_u_k=0.005)
            for d in (30.0, 45.0)
        )
        try:
            found = stem_from_two_depths(shallow, deep, temperature_c=BATH_C, air_c=AIR_C)
        except StemError:
            continue
        shares.append(found.share)
        stated.append(math.hypot(found.half_width / math.sqrt(3.0), found.standard_u))
    assert len(shares) > 380
    assert np.mean(np.abs(shares) < 2.0 * np.array(stated)) > 0.95


@pytest.mark.parametrize(
    ("shallow_mm", "deep_mm", "errors_k", "bath_c", "words"),
    [
        (30.0, 35.0, (0.3, 0.4), 92.0, "differ by 5 mm"),
        (30.0, 45.0, (0.3, 0.4), 40.0, "hottest plateau"),
        (30.0, 45.0, (0.4, 0.3), 92.0, "no stem"),
        (20.0, 30.0, (-4.0, 0.0), 92.0, "above the hex"),
    ],
)
def test_two_depths_that_tell_nothing_are_refused_with_the_next_step(
    shallow_mm: float, deep_mm: float, errors_k: tuple[float, float], bath_c: float, words: str
) -> None:
    shallow = DepthReading(depth_mm=shallow_mm, error_k=errors_k[0], standard_u_k=0.01)
    deep = DepthReading(depth_mm=deep_mm, error_k=errors_k[1], standard_u_k=0.01)
    with pytest.raises(StemError, match=words):
        stem_from_two_depths(shallow, deep, temperature_c=bath_c, air_c=AIR_C)


@given(error_k=st.floats(-3.0, 3.0), gradient_k=st.floats(-0.4, 0.4))
def test_changing_places_parts_the_sender_s_error_from_the_bath_s(error_k: float, gradient_k: float) -> None:
    found = swapped(error_k, gradient_k)
    assert found.difference_k == pytest.approx(gradient_k, abs=1e-12)
    assert found.free_error_k == pytest.approx(error_k, abs=1e-12)
    assert found.standard_u_k == pytest.approx(0.005)
    there_k = found.correction_k(BATH_C, AIR_C)
    assert error_k + gradient_k + there_k == pytest.approx(error_k, abs=1e-12 if there_k else 0.0100001)


def swapped(error_k: float, gradient_k: float) -> MeasuredGradient:
    return gradient_from_swap(
        PlacedReading(error_k=error_k + gradient_k, standard_u_k=0.006),
        PlacedReading(error_k=error_k - gradient_k, standard_u_k=0.008),
        temperature_c=BATH_C,
        air_c=AIR_C,
    )


@given(gradient_k=st.floats(-0.4, 0.4), bath_c=st.floats(AIR_C, BATH_C))
def test_the_line_holds_a_gradient_that_stays_and_one_that_goes_with_the_bath_above_the_air(
    gradient_k: float, bath_c: float
) -> None:
    found = swapped(0.3, gradient_k)
    with_bath_k = gradient_k * (bath_c - AIR_C) / (BATH_C - AIR_C)
    left_k = [g + found.correction_k(bath_c, AIR_C) for g in (gradient_k, with_bath_k)]
    wander_u_k = WANDER_BETWEEN_K / math.sqrt(3.0)
    room_k = found.half_width_k(bath_c, AIR_C) - 2.0 * math.hypot(0.005, wander_u_k)
    assert max(map(abs, left_k)) <= room_k + 1e-12


def test_a_chance_difference_is_not_corrected_for_and_widens_the_line() -> None:
    found = swapped(0.3, 0.008)
    assert not found.is_found
    assert found.correction_k(60.0, AIR_C) == 0.0
    assert found.half_width_k(60.0, AIR_C) > swapped(0.3, 0.0).half_width_k(60.0, AIR_C)


def test_a_bath_that_is_too_uneven_is_refused() -> None:
    with pytest.raises(GradientError, match="Stir"):
        swapped(0.8, 0.6)
