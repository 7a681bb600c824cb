"""Self-heating against the worked figures of the method's source."""

import pytest

from calibration.resistance.excitation import Excitation
from calibration.resistance.self_heating import self_heating


def test_187_ohm_behind_220_ohm_from_3v3_is_8_ma_and_12_mw_and_reads_1k2_hot_at_10_mw_per_k() -> None:
    # Figures printed in the project's method (DEVELOPERS.md): 8 mA, 12 mW, 1.2 K at an assumed 10 mW/K.
    excitation = Excitation(source_v=3.3, series_ohm=220.0, duty=1.0)
    assert excitation.current_a(187.0) == pytest.approx(8.1e-3, abs=0.05e-3)
    assert excitation.mean_power_w(187.0) == pytest.approx(12.3e-3, abs=0.05e-3)
    heat = self_heating(excitation, 187.0, lowest_w_per_k=0.010, highest_w_per_k=0.010)
    assert heat.rise_k == pytest.approx(1.23, abs=0.005)
    assert heat.half_width_k == 0.0


def test_the_rise_covers_the_whole_span_of_the_dissipation() -> None:
    excitation = Excitation(source_v=1.0, series_ohm=852.0, duty=0.26)
    heat = self_heating(excitation, 243.0, lowest_w_per_k=0.005, highest_w_per_k=0.020)
    power_w = excitation.mean_power_w(243.0)
    assert heat.rise_k - heat.half_width_k == pytest.approx(power_w / 0.020)
    assert heat.rise_k + heat.half_width_k == pytest.approx(power_w / 0.005)


def test_a_dissipation_that_is_not_positive_is_refused() -> None:
    with pytest.raises(ValueError, match="positive"):
        self_heating(
            Excitation(source_v=1.0, series_ohm=852.0, duty=0.26),
            243.0,
            lowest_w_per_k=0.0,
            highest_w_per_k=0.02,
        )
