import statistics

import numpy as np
import pytest

from calibration.infrared.outlying_shot import grubbs_critical, outlying_shot

#: ISO 5725-2:1994, table 5, one outlier, upper 5 % (from memory).
ISO_5725_2 = {3: 1.155, 4: 1.481, 5: 1.715, 6: 1.887, 8: 2.126, 10: 2.290}


@pytest.mark.parametrize(("count", "printed"), ISO_5725_2.items())
def test_the_critical_value_is_the_one_that_iso_5725_prints(count, printed):
    assert grubbs_critical(count) == pytest.approx(printed, abs=0.001)


def test_the_handbook_s_mass_spectrometer_reading_lies_apart():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1: G = 2.4687 of eight readings.
    readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    distance = abs(readings[7] - statistics.fmean(readings)) / statistics.stdev(readings)
    assert distance == pytest.approx(2.4687, abs=0.0001)
    assert outlying_shot(readings, resolution_k=0.1) == 7


def test_shots_that_differ_in_the_last_digits_are_not_asked_about():
    assert outlying_shot([90.0, 90.0, 90.1], resolution_k=0.1) is None
    assert outlying_shot([90.0, 90.0, 90.0, 90.3], resolution_k=0.1) is None


@pytest.mark.parametrize("readings", [[46.8, 47.2, 47.0], [1.8, 2.1, 1.8]])
@pytest.mark.parametrize("targets", [[45.0, 45.1, 45.2], [0.0, 0.0, 0.0]])
def test_three_last_digits_are_three_whether_a_difference_was_rounded_in_the_machine_or_not(
    readings, targets
):
    differences = [shown - target for shown, target in zip(readings, targets, strict=True)]
    in_tenths = [round(one, 1) for one in differences]
    found = outlying_shot(differences, resolution_k=0.1)
    assert found == outlying_shot(in_tenths, resolution_k=0.1)
    assert found is None or max(in_tenths) - min(in_tenths) > 0.35


def test_what_lies_apart_by_a_digit_more_is_asked_about():
    assert outlying_shot([1.8, 2.2, 1.8], resolution_k=0.1) == 1


def test_one_of_three_that_is_kelvins_off_is_asked_about_though_the_others_do_not_agree_to_the_digit():
    assert outlying_shot([-2.0, -1.7, 5.0], resolution_k=0.1) == 2
    assert outlying_shot([-2.0, -1.7, 5.0], resolution_k=0.1, asks_by_size=False) is None
    assert outlying_shot([90.0, 95.0, 90.9], resolution_k=0.1) == 1
    assert outlying_shot([90.0, 90.9, 91.8], resolution_k=0.1) is None


def test_of_two_shots_that_stand_apart_from_the_rest_the_farther_one_is_asked_about():
    assert outlying_shot([90.0, 90.1, 95.0, 97.0], resolution_k=0.1) == 3
    assert outlying_shot([97.0, 95.0, 90.1, 90.0], resolution_k=0.1) == 0


def test_a_display_of_whole_degrees_is_not_asked_about_for_two_of_them():
    assert outlying_shot([90.0, 90.0, 92.0], resolution_k=1.0) is None
    assert outlying_shot([90.0, 90.0, 94.0], resolution_k=1.0) == 2


def share_asked(noise_k, off_k, *, shots=3, tries=1000, **way):
    """How often a set of shots, the last of them off by so much, has that one asked about."""
    chance = np.random.default_rng(71)
    asked = 0
    for _ in range(tries):
        shown = 90.0 + noise_k * chance.standard_normal(shots)
        shown[-1] += off_k
        found = outlying_shot([round(float(one), 1) for one in shown], resolution_k=0.1, **way)
        asked += found == shots - 1 if off_k else found is not None
    return asked / tries


@pytest.mark.parametrize(("noise_k", "off_k"), [(0.1, 2.0), (0.2, 2.0), (0.2, 4.0), (0.2, 8.0), (0.3, 8.0)])
def test_a_slip_of_kelvins_among_three_shots_is_asked_about_nearly_always(noise_k, off_k):
    assert share_asked(noise_k, off_k) >= 0.97


def test_by_the_test_alone_a_slip_of_8_k_among_three_shots_passes_often():
    # What the size is for: at a noise of 0.2 K it asks about 4 K 41 times of 100, about 8 K 63 times.
    assert share_asked(0.2, 8.0, asks_by_size=False) < 0.7
    assert share_asked(0.2, 4.0, asks_by_size=False) < 0.5


@pytest.mark.parametrize(("noise_k", "most"), [(0.1, 0.02), (0.2, 0.08), (0.3, 0.12)])
def test_good_shots_are_seldom_asked_about_in_vain(noise_k, most):
    assert share_asked(noise_k, 0.0) <= most


def test_two_shots_show_nothing_and_have_no_critical_value():
    assert outlying_shot([90.0, 120.0], resolution_k=0.1) is None
    with pytest.raises(ValueError, match="fewer than three"):
        grubbs_critical(2)
