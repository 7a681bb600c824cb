"""The ohms check on a converter with a wrong reference resistor and a bow."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.ohms_check import (
    BEYOND_COUNT,
    BEYOND_WITHIN_COUNT,
    FEWEST_SETTINGS,
    BoxReading,
    OhmsCheckError,
    correction_from_box,
    settings_for,
)
from calibration.resistance.three_tap import ohm_per_count, ratio_count

BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)


def shown_count(true_ohm: float, reference_ohm: float, *, part: float, bow_count: float) -> float:
    """Count of a channel whose reference is wrong by ``part`` and whose converter bows at mid scale."""
    count = ratio_count(true_ohm, reference_ohm * (1.0 + part))
    z = 2.0 * count / 4096.0 - 1.0
    return count + bow_count * (1.0 - z * z)


def box_readings(reference_ohm: float, *, part: float, bow_count: float) -> list[BoxReading]:
    return [
        BoxReading(
            setting_ohm=setting,
            count=shown_count(BOX.true_ohm(setting), reference_ohm, part=part, bow_count=bow_count),
        )
        for setting in settings_for(reference_ohm, BOX)
    ]


@pytest.mark.parametrize("reference_ohm", [750.0, 2700.0])
def test_each_range_is_checked_at_seven_settings_inside_its_reportable_span(reference_ohm: float) -> None:
    settings = settings_for(reference_ohm, BOX)
    assert len(settings) >= FEWEST_SETTINGS
    ratios = [setting / (setting + reference_ohm) for setting in settings]
    assert 0.15 < min(ratios) and max(ratios) < 0.85


@given(st.floats(-0.002, 0.002), st.floats(-1.0, 1.0), st.sampled_from([750.0, 2700.0]), st.floats(0.2, 0.75))
def test_a_wrong_reference_and_a_bow_are_taken_up_to_a_few_parts_in_a_million(
    part: float, bow_count: float, reference_ohm: float, ratio: float
) -> None:
    correction = correction_from_box(
        box_readings(reference_ohm, part=part, bow_count=bow_count),
        reference_ohm=reference_ohm,
        certificate=BOX,
    )
    true_ohm = reference_ohm * ratio / (1.0 - ratio)
    count = shown_count(true_ohm, reference_ohm, part=part, bow_count=bow_count)
    assert correction.corrected_ohm(count) == pytest.approx(true_ohm, rel=2e-5)


def test_a_range_out_by_more_than_its_limit_stops_the_run_and_says_which_setting() -> None:
    readings = box_readings(750.0, part=0.01, bow_count=0.0)
    with pytest.raises(OhmsCheckError, match=r"setting \d+ Ω, 750 Ω range"):
        correction_from_box(readings, reference_ohm=750.0, certificate=BOX)


def test_one_sticking_relay_is_found_although_the_others_agree() -> None:
    readings = box_readings(2700.0, part=0.0005, bow_count=0.3)
    stuck = readings[3]
    readings[3] = BoxReading(setting_ohm=stuck.setting_ohm, count=stuck.count + 8.0)
    with pytest.raises(OhmsCheckError, match=str(stuck.setting_ohm)):
        correction_from_box(readings, reference_ohm=2700.0, certificate=BOX)


def test_too_few_settings_are_refused() -> None:
    with pytest.raises(OhmsCheckError, match="7 different settings"):
        correction_from_box(
            box_readings(750.0, part=0.0, bow_count=0.0)[:6], reference_ohm=750.0, certificate=BOX
        )


def test_the_uncertainty_covers_a_local_nonlinearity_the_quadratic_cannot_follow() -> None:
    generator = np.random.default_rng(5)
    hits = tried = 0
    for _ in range(200):
        amplitude, phase = generator.uniform(0.2, 0.8), generator.uniform(0.0, 2.0 * math.pi)

        def wavy(count: float, amplitude: float = amplitude, phase: float = phase) -> float:
            return count + amplitude * math.sin(count / 90.0 + phase)

        readings = [
            BoxReading(setting_ohm=s, count=wavy(ratio_count(BOX.true_ohm(s), 750.0)))
            for s in settings_for(750.0, BOX)
        ]
        correction = correction_from_box(readings, reference_ohm=750.0, certificate=BOX)
        for true_ohm in (180.0, 300.0, 600.0, 1500.0):
            count = wavy(ratio_count(true_ohm, 750.0))
            tried += 1
            # Student's t for four degrees of freedom at 95.45 %: 2.87 (NIST TN 1297, Table B.1)
            hits += abs(correction.corrected_ohm(count) - true_ohm) <= 2.87 * correction.standard_u_ohm(count)
    assert hits / tried >= 0.945


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("end", ["lowest_ohm", "highest_ohm"])
def test_beyond_either_end_of_the_settings_the_correction_is_less_sure_by_as_much(
    end: str, share: float
) -> None:
    """A rectangle of half-width a has a/√3 (JCGM 100, 4.3.7); it grows to the whole of it, and no further."""
    correction = correction_from_box(
        box_readings(2700.0, part=0.0, bow_count=0.0), reference_ohm=2700.0, certificate=BOX
    )
    outwards = -1.0 if end == "lowest_ohm" else 1.0
    count = ratio_count(getattr(correction, end), 2700.0) + outwards * share * BEYOND_WITHIN_COUNT
    within = replace(correction, lowest_ohm=1.0, highest_ohm=1e6)
    added = math.sqrt(max(correction.standard_u_ohm(count) ** 2 - within.standard_u_ohm(count) ** 2, 0.0))
    expected = min(1.0, share) * BEYOND_COUNT / math.sqrt(3.0) * ohm_per_count(count, 2700.0)
    assert added == pytest.approx(expected, rel=1e-3, abs=1e-4)
