"""From tap counts to ohms, or to a reason why not; and which range is measured in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.readings import Quality
from rig.drivers.range_choice import choose_range, expected_relative_error
from rig.drivers.three_taps import TapCounts, judge
from rig.wiring import load_wiring

WIRING = load_wiring()
SENDER = WIRING.channels["sender"]
HIGH, LOW, GAUGE = SENDER.ranges


def counts_for(device_ohm: float, reference_ohm: float, ballast_ohm: float) -> TapCounts:
    """Counts of an ideal converter, by Ohm's law."""
    current = 4096 / (ballast_ohm + reference_ohm + device_ohm + 51.0)
    tap2 = current * 51.0
    tap1 = tap2 + current * device_ohm
    return TapCounts(tap0=tap1 + current * reference_ohm, tap1=tap1, tap2=tap2)


@given(st.floats(480.0, 15_000.0))
def test_an_ideal_converter_gives_the_resistance_back(device_ohm: float) -> None:
    reading = judge(counts_for(device_ohm, 2700.0, 51.0), range_wiring=HIGH, reportable=WIRING.reportable)
    assert reading.quality is Quality.GOOD
    assert reading.value == pytest.approx(device_ohm, rel=1e-9)
    assert reading.raw == pytest.approx(4096 * device_ohm / (device_ohm + 2700.0), rel=1e-9)


@given(st.floats(480.0, 15_000.0), st.floats(0.0, 2000.0))
def test_switch_and_ballast_lie_outside_the_ratio(device_ohm: float, switch_ohm: float) -> None:
    counts = counts_for(device_ohm, 2700.0, 51.0 + switch_ohm)
    assert counts.resistance_ohm(2700.0) == pytest.approx(device_ohm, rel=1e-9)


@pytest.mark.parametrize(
    ("taps", "quality"),
    [
        ((4090.0, 4089.9, 0.3), Quality.OPEN),
        ((3800.0, 3799.0, 0.0), Quality.OPEN),
        ((4052.0, 75.0, 74.6), Quality.SHORT),
        ((0.5, 0.4, 0.6), Quality.MISSING),
        ((4095.0, 4095.0, 4095.0), Quality.MISSING),
    ],
)
def test_faults_of_the_loop_are_told_apart(taps: tuple[float, float, float], quality: Quality) -> None:
    counts = TapCounts(tap0=taps[0], tap1=taps[1], tap2=taps[2])
    reading = judge(counts, range_wiring=HIGH, reportable=WIRING.reportable)
    assert (reading.quality, reading.value) == (quality, None)
    assert reading.reason


@pytest.mark.parametrize(("device_ohm", "side"), [(300.0, "below"), (16_000.0, "above")])
def test_out_of_the_reportable_span_the_count_is_kept_and_no_ohms_are_given(
    device_ohm: float, side: str
) -> None:
    reading = judge(counts_for(device_ohm, 2700.0, 51.0), range_wiring=HIGH, reportable=WIRING.reportable)
    assert (reading.quality, reading.value) == (Quality.RANGE, None)
    assert reading.raw == pytest.approx(4096 * device_ohm / (device_ohm + 2700.0))
    assert reading.reason is not None
    assert reading.reason.startswith(side)


def test_cold_senders_take_the_large_reference_and_hot_ones_the_small() -> None:
    for device_ohm, expected in ((2500.0, HIGH), (8000.0, HIGH), (600.0, LOW), (200.0, LOW)):
        chosen = choose_range(SENDER, current=HIGH, estimate_ohm=device_ohm, reportable=WIRING.reportable)
        assert chosen is expected


@given(st.floats(132.4, 15_290.0), st.sampled_from([HIGH, LOW]))
def test_a_range_is_left_only_for_one_that_is_clearly_better(device_ohm: float, current) -> None:
    chosen = choose_range(SENDER, current=current, estimate_ohm=device_ohm, reportable=WIRING.reportable)
    again = choose_range(SENDER, current=chosen, estimate_ohm=device_ohm, reportable=WIRING.reportable)
    assert again is chosen
    low_ohm, high_ohm = WIRING.reportable.span_ohm(chosen)
    assert low_ohm < device_ohm < high_ohm
    if chosen is not current and all(
        span[0] < device_ohm < span[1]
        for span in (WIRING.reportable.span_ohm(each) for each in SENDER.free_ranges)
    ):
        better = expected_relative_error(device_ohm, chosen, 51.0)
        assert better < expected_relative_error(device_ohm, current, 51.0)


def test_a_sender_at_the_crossing_does_not_make_the_range_flutter() -> None:
    current, changes = HIGH, 0
    for step in range(400):
        device_ohm = 1450.0 + (20.0 if step % 2 else -20.0)
        chosen = choose_range(SENDER, current=current, estimate_ohm=device_ohm, reportable=WIRING.reportable)
        changes += chosen is not current
        current = chosen
    assert changes <= 1


@pytest.mark.parametrize(("estimate_ohm", "expected"), [(0.0, LOW), (float("inf"), HIGH), (20_000.0, HIGH)])
def test_where_no_range_reports_the_nearer_one_is_taken(estimate_ohm: float, expected) -> None:
    for current in SENDER.ranges:
        chosen = choose_range(
            SENDER, current=current, estimate_ohm=estimate_ohm, reportable=WIRING.reportable
        )
        assert chosen is expected


@given(st.floats(0.0, 1e6))
def test_the_gauge_range_is_never_chosen_by_the_rig(estimate_ohm: float) -> None:
    for current in SENDER.ranges:
        chosen = choose_range(
            SENDER, current=current, estimate_ohm=estimate_ohm, reportable=WIRING.reportable
        )
        assert chosen is not GAUGE or current is GAUGE
