import statistics

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


def test_two_shots_show_nothing_and_have_no_critical_value():
    assert outlying_shot([90.0, 120.0], resolution_k=0.1) is None
    with pytest.raises(ValueError, match="fewer than three"):
        grubbs_critical(2)
