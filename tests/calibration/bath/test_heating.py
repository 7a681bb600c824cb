"""How a loop was heated, read from the probe or from the desk's notes."""

import numpy as np
import pytest

from calibration.bath.heating import heating_of
from calibration.bath.identifiability import missing_of, pause_for_s


def course() -> tuple[np.ndarray, np.ndarray]:
    """Rest, three heatings of 6 K/min with two pauses of 90 s between them, and 150 s at the top."""
    time_s = np.arange(0.0, 961.0)
    corners_s = [0.0, 60.0, 260.0, 350.0, 550.0, 640.0, 810.0, 960.0]
    corners_c = [25.0, 25.0, 45.0, 45.0, 65.0, 65.0, 82.0, 82.0]
    return time_s, np.interp(time_s, corners_s, corners_c)


def test_pauses_rate_and_top_are_read_from_the_rise_of_the_probe() -> None:
    heating = heating_of(*course())
    assert heating.rate_k_per_min == pytest.approx(6.0, rel=0.02)
    assert [pause.length_s for pause in heating.pauses] == pytest.approx([90.0, 90.0], abs=20.0)
    assert [pause.at_c for pause in heating.pauses] == pytest.approx([45.0, 65.0], abs=0.5)
    assert heating.top_s == pytest.approx(150.0, abs=15.0)
    assert heating.start_slope_k_per_min == pytest.approx(0.0, abs=0.05)


def test_the_desk_s_own_notes_go_before_what_the_probe_shows() -> None:
    heating = heating_of(*course(), heater_off=[(250.0, 340.0), (540.0, 630.0), (800.0, 960.0)])
    assert [pause.from_s for pause in heating.pauses] == [250.0, 540.0]
    assert heating.top_s == pytest.approx(160.0)


def test_a_pause_takes_four_lags_and_never_less_than_75_s() -> None:
    assert pause_for_s(5.0) == 75.0
    assert pause_for_s(40.0) == 160.0


def test_a_loop_with_two_pauses_of_three_hears_of_the_third_alone() -> None:
    (words,) = missing_of(heating_of(*course()), sender_lag_s=12.0)
    assert words.startswith("only 2 of 3 pauses")


def test_a_slow_sender_hears_that_its_pauses_were_too_short() -> None:
    words = missing_of(heating_of(*course()), sender_lag_s=40.0)
    assert any("pauses too short" in each and "160 s" in each for each in words)
