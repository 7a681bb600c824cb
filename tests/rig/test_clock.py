"""Rig time, real and simulated."""

import threading
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.clock import RealClock, SimulatedClock


@given(st.lists(st.floats(-10, 1e6), max_size=20))
def test_simulated_time_moves_to_where_it_is_waited_for_and_never_back(targets_s: list[float]) -> None:
    clock = SimulatedClock()
    highest_s = 0.0
    for target_s in targets_s:
        clock.wait_until(target_s)
        highest_s = max(highest_s, target_s)
        assert clock.monotonic_s() == highest_s


def test_simulated_time_stands_still_while_nobody_waits() -> None:
    clock = SimulatedClock()
    clock.wait_until(1.0)
    time.sleep(0.002)  # wall time goes on: that is what is checked
    assert clock.monotonic_s() == 1.0


def test_a_day_of_simulation_takes_no_wall_time_to_speak_of() -> None:
    clock = SimulatedClock()
    began_s = time.monotonic()
    clock.wait_until(86_400.0)
    assert time.monotonic() - began_s < 1.0


def test_a_paced_clock_takes_the_wall_time_that_its_speed_asks_for() -> None:
    clock = SimulatedClock(speed=20.0)
    began_s = time.monotonic()
    for step in range(1, 9):
        clock.wait_until(step * 0.25)
    # 2 s at 20 times; up to a quarter second may be owed from before the first wait
    assert time.monotonic() - began_s >= 2.0 / 20.0 - 0.02


def test_a_paced_clock_that_stood_still_does_not_rush_afterwards() -> None:
    clock = SimulatedClock(speed=10.0)
    clock._due_wall_s -= 60.0  # as after a minute in which the desk was away
    began_s = time.monotonic()
    clock.wait_until(5.0)
    assert time.monotonic() - began_s >= 0.2


@pytest.mark.parametrize("speed", [0.0, -1.0, float("inf"), float("nan")])
def test_a_clock_that_cannot_run_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="more than 0"):
        SimulatedClock(speed=speed)


def test_simulated_utc_goes_with_rig_time_or_is_unknown() -> None:
    clock = SimulatedClock(start_utc_s=1.8e9)
    clock.wait_until(12.5)
    assert clock.utc_s() == 1.8e9 + 12.5
    assert SimulatedClock().utc_s() is None


def test_real_rig_time_begins_at_zero_and_waits_for_the_wall() -> None:
    clock = RealClock()
    assert 0.0 <= clock.monotonic_s() < 5.0
    target_s = clock.monotonic_s() + 0.01
    clock.wait_until(target_s)
    assert clock.monotonic_s() >= target_s
    clock.wait_until(0.0)  # long over: returns at once


def test_utc_is_told_only_where_the_kernel_says_that_it_is_disciplined(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("rig.clock.kernel_clock_is_synchronised", lambda: False)
    assert RealClock().utc_s() is None
    monkeypatch.setattr("rig.clock.kernel_clock_is_synchronised", lambda: True)
    assert RealClock().utc_s() == pytest.approx(time.time(), abs=5.0)


def test_two_threads_on_one_simulated_clock_agree_on_the_latest_time() -> None:
    clock = SimulatedClock()
    threads = [
        threading.Thread(target=lambda offset=offset: [clock.wait_until(offset + i) for i in range(500)])
        for offset in (0.0, 0.5)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert clock.monotonic_s() == 499.5
