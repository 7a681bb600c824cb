"""The desk's idea of the circuit is the rig's wiring map."""

import pytest

from host.procedures.bench_setup import DUTY, FIXED_SERIES_OHM, SOURCE_V
from host.procedures.sender.sender_check_settings import SenderCheckSettings
from rig.wiring import load_wiring

WIRING = load_wiring()


def test_excitation_and_series_resistors_are_those_of_the_wiring_map() -> None:
    assert SOURCE_V == WIRING.converter.reference_v
    for channel in WIRING.channels.values():
        for one in channel.ranges:
            series_ohm = one.ballast_ohm + channel.lift_ohm(one)
            assert FIXED_SERIES_OHM[one.reference_ohm] == pytest.approx(series_ohm, abs=0.1)


def test_the_duty_is_that_of_settling_and_sampling_in_a_pass() -> None:
    on_s = WIRING.sampling.settle_s + WIRING.sampling.window_s
    assert DUTY == round(on_s / WIRING.bench.pass_interval_s, 6)


def test_a_sender_check_checks_every_range_that_the_bench_has() -> None:
    defaults = SenderCheckSettings.__dataclass_fields__
    assert set(defaults["sender_ranges_ohm"].default) == {
        one.reference_ohm for one in WIRING.channels["sender"].free_ranges
    }
    assert [defaults["probe_range_ohm"].default] == [
        one.reference_ohm for one in WIRING.channels["probe"].free_ranges
    ]
