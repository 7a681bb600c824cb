"""Two duties back to no power, on a device whose dissipation is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.curves import load_curve
from calibration.resistance.excitation import Excitation
from calibration.resistance.zero_power import DutyReading, ZeroPowerError, zero_power

CURVE = load_curve("ntc-2k5-20c")
SERIES_OHM = 750.0 + 68.0 + 51.0


def excitation(duty: float) -> Excitation:
    return Excitation(source_v=1.0, series_ohm=SERIES_OHM, duty=duty)


def warmed_ohm(zero_ohm: float, duty: float, dissipation_w_per_k: float) -> float:
    """Resistance at which warming and resistance agree: T0 + P(R)/delta."""
    zero_c, resistance_ohm = CURVE.temperature_c(zero_ohm), zero_ohm
    for _ in range(30):
        rise_k = excitation(duty).mean_power_w(resistance_ohm) / dissipation_w_per_k
        resistance_ohm = CURVE.resistance_ohm(zero_c + rise_k)
    return resistance_ohm


def reading(zero_ohm: float, duty: float, dissipation: float, u_ohm: float = 0.002) -> DutyReading:
    return DutyReading(
        resistance_ohm=warmed_ohm(zero_ohm, duty, dissipation),
        standard_u_ohm=u_ohm,
        excitation=excitation(duty),
    )


def extrapolated(zero_ohm: float, dissipation: float, **more: float):
    return zero_power(
        reading(zero_ohm, 0.2, dissipation),
        reading(zero_ohm, 1.0, dissipation),
        sensitivity_k_per_ohm=CURVE.sensitivity_k_per_ohm(zero_ohm),
        **more,
    )


def test_one_line_by_hand() -> None:
    """P = (1/1000)² × 200 Ω × duty, 200 Ω behind 800 Ω from 1 V: 0.04 and 0.2 mW; u by JCGM 100, eq. 10."""
    at = {d: Excitation(source_v=1.0, series_ohm=800.0, duty=d) for d in (0.2, 1.0)}
    low = DutyReading(resistance_ohm=200.0, standard_u_ohm=0.003, excitation=at[0.2])
    high = DutyReading(resistance_ohm=199.9, standard_u_ohm=0.004, excitation=at[1.0])
    found = zero_power(low, high, sensitivity_k_per_ohm=-0.2)
    assert found.resistance_ohm == pytest.approx(200.0 + 0.1 * 0.04 / 0.16, abs=2e-5)
    assert found.standard_u_ohm == pytest.approx(math.hypot(1.25 * 0.003, 0.25 * 0.004), rel=1e-3)
    # 0.1 Ω are 0.02 K for 0.16 mW: 8 mW/K; its u is that of 5 mΩ in 100.
    assert found.dissipation_w_per_k == pytest.approx(0.008, rel=1e-3)
    assert found.u_dissipation_w_per_k == pytest.approx(0.008 * 0.05, rel=2e-3)


@given(zero_ohm=st.floats(150.0, 2000.0), dissipation_mw=st.floats(1.0, 20.0))
def test_zero_power_comes_back_from_any_sender_in_the_span(zero_ohm: float, dissipation_mw: float) -> None:
    found = extrapolated(zero_ohm, 1e-3 * dissipation_mw)
    error_k = (found.resistance_ohm - zero_ohm) * CURVE.sensitivity_k_per_ohm(zero_ohm)
    warmth_k = excitation(1.0).mean_power_w(zero_ohm) / (1e-3 * dissipation_mw)
    assert abs(error_k) < 0.02 * warmth_k + 1e-7
    if found.dissipation_w_per_k is not None:
        assert found.dissipation_w_per_k == pytest.approx(1e-3 * dissipation_mw, rel=0.05)


def test_a_bath_that_warmed_between_the_readings_is_taken_off() -> None:
    zero_ohm = 243.0
    low = reading(zero_ohm, 0.2, 0.008)
    slope = CURVE.sensitivity_k_per_ohm(zero_ohm)
    still = reading(zero_ohm, 1.0, 0.008)
    warmer = DutyReading(
        resistance_ohm=still.resistance_ohm + 0.05 / slope, standard_u_ohm=0.002, excitation=excitation(1.0)
    )
    found = zero_power(low, warmer, sensitivity_k_per_ohm=slope, bath_change_k=0.05, u_bath_change_k=0.003)
    plain = zero_power(low, still, sensitivity_k_per_ohm=slope)
    assert found.resistance_ohm == pytest.approx(plain.resistance_ohm, abs=1e-4)
    assert found.standard_u_ohm > plain.standard_u_ohm


def test_the_stated_uncertainty_is_how_far_repeated_benches_scatter() -> None:
    chance = np.random.default_rng(5)
    shared_u_ohm, own_u_ohm, zero_ohm = 0.01, 0.004, 243.0
    low, high = (warmed_ohm(zero_ohm, duty, 0.008) for duty in (0.2, 1.0))
    u_ohm = math.hypot(shared_u_ohm, own_u_ohm)
    found = []
    for _ in range(2000):
        shared = chance.normal(0.0, shared_u_ohm)
        readings = [
            DutyReading(
                resistance_ohm=ohm + shared + chance.normal(0.0, own_u_ohm),
                standard_u_ohm=u_ohm,
                excitation=excitation(duty),
            )
            for ohm, duty in ((low, 0.2), (high, 1.0))
        ]
        found.append(
            zero_power(
                *readings,
                sensitivity_k_per_ohm=CURVE.sensitivity_k_per_ohm(zero_ohm),
                covariance_ohm2=shared_u_ohm**2,
            )
        )
    scatter = np.std([one.resistance_ohm for one in found])
    assert found[0].standard_u_ohm == pytest.approx(scatter, rel=0.06)
    conductances = [one.conductance_k_per_w for one in found]
    assert found[0].u_conductance_k_per_w == pytest.approx(np.std(conductances), rel=0.06)
    assert np.mean(conductances) == pytest.approx(1 / 0.008, rel=0.03)


def test_a_warming_lost_in_the_noise_gives_only_a_least_dissipation() -> None:
    noisy = [reading(243.0, duty, 0.015, u_ohm=0.5) for duty in (0.2, 1.0)]
    found = zero_power(*noisy, sensitivity_k_per_ohm=CURVE.sensitivity_k_per_ohm(243.0))
    assert found.dissipation_w_per_k is None
    assert 0.0 < found.least_dissipation_w_per_k < 0.015


def test_the_warming_at_another_plateau_follows_its_power() -> None:
    found = extrapolated(243.0, 0.010)
    power_w = excitation(0.25).mean_power_w(600.0)
    assert found.self_heating(power_w).rise_k == pytest.approx(power_w / 0.010, rel=0.02)
    assert found.self_heating(power_w).half_width_k / math.sqrt(3.0) == pytest.approx(
        found.u_conductance_k_per_w * power_w
    )


def test_duties_that_lie_too_near_are_refused() -> None:
    with pytest.raises(ZeroPowerError, match="20 % and once at 100 %"):
        zero_power(reading(243.0, 0.2, 0.01), reading(243.0, 0.25, 0.01), sensitivity_k_per_ohm=-0.15)


def test_a_sender_that_cools_under_power_is_a_bath_that_moved() -> None:
    low = reading(243.0, 0.2, 0.01)
    high = DutyReading(
        resistance_ohm=low.resistance_ohm + 1.0, standard_u_ohm=0.002, excitation=excitation(1.0)
    )
    with pytest.raises(ZeroPowerError, match="the bath moved"):
        zero_power(low, high, sensitivity_k_per_ohm=-0.15)
