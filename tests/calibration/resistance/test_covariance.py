"""What corrected resistances share, held against benches drawn by their thousands; and leads taken off."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.resistance.covariance import CorrectedReading, covariance_ohm2
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.leads import LeadsError, without_leads
from calibration.resistance.ohms_check import BoxReading, RangeCorrection, correction_from_box, settings_for
from calibration.resistance.three_tap import ratio_count

BOX = DecadeBoxCertificate(
    residual_ohm=0.4,
    step_ohm={w * d: float(w * d) for d in (1, 10, 100, 1000) for w in (1, 2, 4, 8)},
    expanded_u_relative=1e-4,
    expanded_u_ohm=0.03,
    k=2.0,
)
PERFECT_BOX = replace(BOX, expanded_u_relative=0.0, expanded_u_ohm=0.0)
LOCAL_COUNT = 0.1


def checked(
    reference_ohm: float, chance: np.random.Generator, *, scale: float = 1.0, residual_ohm: float = 0.0
) -> RangeCorrection:
    """Correction from a box that is truly off its certificate, on a converter with local errors."""
    return correction_from_box(
        [
            BoxReading(
                setting_ohm=setting,
                count=ratio_count(BOX.true_ohm(setting) * scale + residual_ohm, reference_ohm)
                + chance.normal(0.0, LOCAL_COUNT),
            )
            for setting in settings_for(reference_ohm, BOX)
        ],
        reference_ohm=reference_ohm,
        certificate=BOX,
    )


def readings_of(correction: RangeCorrection, true_ohm: list[float]) -> list[CorrectedReading]:
    return [
        CorrectedReading(correction=correction, count=ratio_count(ohm, correction.reference_ohm))
        for ohm in true_ohm
    ]


@pytest.mark.slow
def test_covariance_of_box_and_quadratic_is_how_repeated_checks_scatter_together() -> None:
    """4,000 checks with another box and another converter each; local errors at the readings left out."""
    chance = np.random.default_rng(11)
    hot, cold = [150.0, 300.0, 700.0], [1500.0, 2500.0]
    drawn = []
    stated = []
    for _ in range(4000):
        off = {"scale": 1.0 + chance.normal(0.0, 5e-5), "residual_ohm": chance.normal(0.0, 0.015)}
        readings = [
            *readings_of(checked(750.0, chance, **off), hot),
            *readings_of(checked(2700.0, chance, **off), cold),
        ]
        drawn.append([reading.resistance_ohm for reading in readings])
        if len(stated) < 300:
            quadratic_only = [
                replace(reading, correction=replace(reading.correction, remainder_count=0.0))
                for reading in readings
            ]
            stated.append(covariance_ohm2(quadratic_only, BOX))
    scatter, mean_stated = np.cov(np.array(drawn).T), np.mean(stated, axis=0)
    sizes = np.sqrt(np.outer(np.diag(scatter), np.diag(scatter)))
    assert np.max(np.abs(scatter - mean_stated) / sizes) < 0.12


def test_two_ranges_share_only_the_box() -> None:
    chance = np.random.default_rng(2)
    one, other = checked(750.0, chance), checked(2700.0, chance)
    pair = [*readings_of(one, [300.0]), *readings_of(other, [2000.0])]
    shared = covariance_ohm2(pair, BOX)[0, 1]
    ohms = [reading.resistance_ohm for reading in pair]
    assert shared == pytest.approx(5e-5**2 * ohms[0] * ohms[1] + 0.015**2)
    assert covariance_ohm2(pair, PERFECT_BOX)[0, 1] == 0.0


def test_the_diagonal_is_the_uncertainty_that_a_single_reading_states() -> None:
    correction = checked(750.0, np.random.default_rng(3))
    (reading,) = readings_of(correction, [300.0])
    noisy = replace(reading, repeatability_count=0.2)
    alone = covariance_ohm2([noisy], PERFECT_BOX)[0, 0]
    expected = math.hypot(correction.standard_u_ohm(reading.count), 0.2 * reading.ohm_per_count)
    assert math.sqrt(alone) == pytest.approx(expected)


def test_the_covariance_is_symmetric_and_never_negative() -> None:
    correction = checked(750.0, np.random.default_rng(4))
    ohms = list(np.linspace(140.0, 3000.0, 25))
    covariance = covariance_ohm2(readings_of(correction, ohms), BOX)
    assert np.array_equal(covariance, covariance.T)
    assert np.min(np.linalg.eigvalsh(covariance)) > -1e-12 * np.max(covariance)


def test_readings_a_count_apart_share_the_converter_s_local_error() -> None:
    correction = checked(750.0, np.random.default_rng(5))
    near = readings_of(correction, [300.0, 300.2])
    far = readings_of(correction, [300.0, 600.0])
    matrices = [covariance_ohm2(pair, PERFECT_BOX) for pair in (near, far)]
    together = [m[0, 1] / math.sqrt(m[0, 0] * m[1, 1]) for m in matrices]
    assert together[0] > 0.99
    assert together[1] < 0.8


def test_leads_come_off_every_reading_and_leave_it_correlated_with_the_others() -> None:
    correction = checked(750.0, np.random.default_rng(6))
    readings = readings_of(correction, [243.0 + 0.8, 596.0 + 0.8])
    (shorted,) = readings_of(correction, [0.8])
    found = without_leads(readings, shorted=shorted, box=BOX)
    assert found.resistances_ohm == pytest.approx((243.0, 596.0), abs=4.0 * found.standard_u_ohm(1))
    assert found.leads_ohm == pytest.approx(0.8, abs=4.0 * found.u_leads_ohm)
    # By hand: var(R - L) = var R + var L - 2 cov; the part that the box adds to both ends cancels.
    joint = covariance_ohm2([readings[0], shorted], BOX)
    assert found.covariance_ohm2[0, 0] == pytest.approx(joint[0, 0] + joint[1, 1] - 2.0 * joint[0, 1])
    assert found.covariance_ohm2[0, 1] > 0.0
    fixed_only = replace(BOX, expanded_u_relative=0.0)
    without_fixed = without_leads(readings, shorted=shorted, box=PERFECT_BOX)
    assert without_leads(readings, shorted=shorted, box=fixed_only).covariance_ohm2 == pytest.approx(
        without_fixed.covariance_ohm2
    )


def test_shorted_clips_may_scatter_a_little_below_zero() -> None:
    correction = checked(750.0, np.random.default_rng(8))
    exact = replace(correction, coefficients=(0.0, 0.0, 0.0))
    readings = readings_of(exact, [243.0])
    found = without_leads(readings, shorted=CorrectedReading(correction=exact, count=-0.05), box=BOX)
    # One count near zero is 750 Ω / 4096: 0.05 of it are 9 mΩ.
    assert found.leads_ohm == pytest.approx(-0.05 * 750.0 / 4096.0, rel=1e-3)
    assert found.resistances_ohm[0] == pytest.approx(243.0 + 0.00916, abs=1e-4)


@pytest.mark.parametrize(
    ("count", "words"), [(60.0, "sound leads stay under 5 Ω"), (-20.0, "below zero by more than")]
)
def test_leads_that_cannot_be_are_refused(count: float, words: str) -> None:
    correction = checked(750.0, np.random.default_rng(7))
    readings = readings_of(correction, [243.0])
    shorted = CorrectedReading(correction=correction, count=count)
    with pytest.raises(LeadsError, match=words):
        without_leads(readings, shorted=shorted, box=BOX)
