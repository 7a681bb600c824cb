"""What a range gets wrong: checked by hand where it can be, and against what the bench is wired as."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.curves import load_curve
from calibration.resistance.circuit import Circuit
from calibration.resistance.converter import B_GRADE, C_GRADE, CODES
from calibration.resistance.error_model import NOMINAL_BOX, Surroundings, resistance_errors, terms_of
from calibration.thermistor.steinhart_hart import SteinhartHart
from rig.wiring import load_wiring

pytestmark = pytest.mark.slow

WIRING = load_wiring()
CURVE = load_curve("ntc-2k5-20c")
SEED = 20
IDEAL = replace(B_GRADE, typical_inl_lsb=0.0, largest_inl_lsb=0.0, offset_lsb=0.0, leakage_a=0.0)


def as_wired(reference_ohm: float, name: str = "sender") -> Circuit:
    """A range of the bench, from its wiring map."""
    channel = WIRING.channels[name]
    (one,) = [each for each in channel.ranges if each.reference_ohm == reference_ohm]
    plan = WIRING.sampling
    return Circuit(
        source_v=WIRING.converter.reference_v,
        reference_ohm=one.reference_ohm,
        ballast_ohm=one.ballast_ohm,
        lift_ohm=channel.lift_ohm(one),
        tap_series_ohm=WIRING.converter.tap_series_ohm,
        tap_capacitor_f=1e-9 * WIRING.converter.tap_capacitor_nf,
        rounds=plan.rounds,
        block=plan.block,
        discard=plan.discard,
        mains_cycles=round(plan.window_s / plan.cycle_s),
        settle_s=plan.settle_s,
        duty=WIRING.duty,
    )


def after_mk(circuit: Circuit, temperature_c: float, *, benches: int = 250, **about: float) -> float:
    """Root mean square left after the check, on the 2.5 kΩ curve. [mK]"""
    (found,) = resistance_errors(
        circuit,
        [CURVE.resistance_ohm(temperature_c)],
        benches=benches,
        seed=SEED,
        surroundings=Surroundings(**about),
    )
    return 1e3 * found.in_kelvin(CURVE)[1].rms


def test_tap_levels_are_those_of_ohm_s_law() -> None:
    # 1 V over 4 + 51 + 750 + 187 + 51 Ω = 1043 Ω; tap 1 stands at 238 Ω, tap 0 at 988 Ω, tap 2 at 51 Ω.
    circuit = Circuit(source_v=1.0, reference_ohm=750.0, ballast_ohm=51.0, lift_ohm=51.0, tap_series_ohm=0.0)
    levels = circuit.levels_count([187.0], 750.0)[0]
    assert levels == pytest.approx([4096 * 988 / 1043, 4096 * 238 / 1043, 4096 * 51 / 1043])
    # Thevenin: what lies below the tap parallel to what lies above it.
    assert circuit.source_resistance_ohm([187.0])[0] == pytest.approx(
        [988 * 55 / 1043, 238 * 805 / 1043, 51 * 992 / 1043]
    )


def test_187_ohm_behind_220_from_3v3_carries_8_ma_and_12_mw() -> None:
    # Worked by hand: 3.3 V / 407 Ω = 8.1 mA, squared times 187 Ω = 12.3 mW.
    circuit = Circuit(source_v=3.3, reference_ohm=220.0, ballast_ohm=0.0, lift_ohm=0.0, duty=1.0)
    assert circuit.current_ma(187.0) == pytest.approx(8.1, abs=0.05)
    assert 1e3 * circuit.excitation.mean_power_w(187.0) == pytest.approx(12.3, abs=0.05)


@pytest.mark.parametrize(("grade", "largest"), [(B_GRADE, 1.0), (C_GRADE, 2.0)])
def test_chips_stay_within_what_the_data_sheet_grants(grade, largest: float) -> None:
    chance = np.random.default_rng(SEED)
    for _ in range(50):
        thresholds = grade.draw_thresholds(chance)
        departure = thresholds - (np.arange(1, CODES) - 0.5)
        assert np.max(np.abs(departure)) <= largest + grade.offset_lsb + 1e-9
        assert np.all(np.diff(thresholds) >= 0.0)


def test_a_wrong_reference_alone_errs_by_its_tolerance_and_the_check_takes_it_out() -> None:
    """An error even within ±0.1 % has a root mean square of 0.1 %/√3 (JCGM 100, 4.3.7)."""
    circuit = replace(as_wired(750.0), grade=IDEAL, reference_per_k=0.0)
    (found,) = resistance_errors(
        circuit, [300.0], benches=200, seed=SEED, surroundings=Surroundings(readings=20, hum_v=0.0)
    )
    assert found.before_ohm.rms == pytest.approx(0.3 / math.sqrt(3.0), rel=0.1)
    assert found.after_ohm.rms < 0.1 * found.before_ohm.rms


def test_noise_alone_is_what_propagation_through_three_taps_says() -> None:
    """Three independent means of 64 conversions, each 0.7 of a code and its rounding, 1/√12 of a code."""
    circuit = replace(as_wired(750.0), grade=IDEAL, reference_tolerance=0.0, reference_per_k=0.0)
    about = Surroundings(hum_v=0.0, drift_k=0.0)
    (found,) = resistance_errors(circuit, [300.0], benches=500, seed=SEED, surroundings=about)
    tap_count = math.sqrt((171e-6 * 4096) ** 2 + 1.0 / 12.0) / math.sqrt(64)
    ohm_a_count = (750.0 + 68.0 + 51.0 + 4.0 + 300.0) / 4096
    shares = math.hypot(1.0, 1.0 + 300.0 / 750.0, 300.0 / 750.0)
    assert found.before_ohm.rms == pytest.approx(tap_count * ohm_a_count * shares, rel=0.12)


def test_too_little_noise_makes_averaging_stall() -> None:
    """At 3.3 V a code is 3.3 times as large: 40 readings take less out of what is left than at 1 V."""
    straight = replace(as_wired(750.0), grade=IDEAL, reference_tolerance=0.0, reference_per_k=0.0)
    quiet = {"hum_v": 0.0, "drift_k": 0.0, "check_readings": 40}

    def gain(source_v: float) -> float:
        circuit = replace(straight, source_v=source_v)
        one, forty = (after_mk(circuit, 97.0, benches=150, readings=n, **quiet) for n in (1, 40))
        return one / forty

    assert gain(1.0) > 3.0
    assert gain(3.3) < 2.0


def test_hum_over_whole_mains_cycles_cancels() -> None:
    circuit = replace(as_wired(750.0), grade=IDEAL, reference_tolerance=0.0, reference_per_k=0.0)
    without = after_mk(circuit, 97.0, hum_v=0.0)
    assert after_mk(circuit, 97.0, hum_v=1e-3) == pytest.approx(without, rel=0.25)
    # Two and a half cycles are not whole ones.
    assert circuit.phases()[0] @ np.ones(64) != 0.0
    assert np.sum(np.sin(circuit.phases()), axis=1) == pytest.approx(np.zeros(3), abs=1e-9)


@pytest.mark.parametrize(
    ("reference_ohm", "temperature_c"), [(2700.0, 25.0), (2700.0, 40.0), (750.0, 60.0), (750.0, 97.0)]
)
def test_the_bench_as_wired_errs_less_than_its_goal(reference_ohm: float, temperature_c: float) -> None:
    """Goal: converter error of 0.05 K at most from 25 to 97 °C on the 2.5 kΩ curve, 95 of 100 benches."""
    (found,) = resistance_errors(
        as_wired(reference_ohm), [CURVE.resistance_ohm(temperature_c)], benches=250, seed=SEED
    )
    before_k, after_k = found.in_kelvin(CURVE)
    assert after_k.p95 < 0.05
    assert after_k.rms < before_k.rms
    assert found.refused == 0


def test_what_the_error_model_takes_for_granted_is_what_is_wired() -> None:
    """A circuit built with nothing but its resistors has the bench's filter, sampling and chip."""
    for reference_ohm in (2700.0, 750.0, 68.0):
        wired = as_wired(reference_ohm)
        plain = Circuit(
            source_v=wired.source_v,
            reference_ohm=wired.reference_ohm,
            ballast_ohm=wired.ballast_ohm,
            lift_ohm=wired.lift_ohm,
        )
        assert plain == wired
    assert WIRING.converter.inl_lsb == B_GRADE.largest_inl_lsb
    assert 1e-2 * WIRING.reference.tolerance_percent == pytest.approx(plain.reference_tolerance)
    assert 1e-6 * WIRING.reference.ppm_per_k == pytest.approx(plain.reference_per_k)


def test_a_gauge_sender_is_read_better_at_6_ma_than_at_1_ma() -> None:
    """30 Ω on the slope of a printed gauge sender; the starting point had 25 and 75 mK root mean square."""
    gauge = load_curve("ntc-160-60c")
    wired = as_wired(68.0)
    assert wired.current_ma(30.0) == pytest.approx(6.1, abs=0.05)
    assert wired.current_ma(20.0) < 10.0
    spared = replace(wired, ballast_ohm=wired.ballast_ohm + 836.0)
    assert spared.current_ma(30.0) == pytest.approx(1.0, abs=0.01)
    six_k, one_k = (
        resistance_errors(circuit, [30.0], benches=200, seed=SEED)[0].in_kelvin(gauge)[1]
        for circuit in (wired, spared)
    )
    assert six_k.rms < 0.025
    assert one_k.rms < 0.075
    assert one_k.rms > 3.0 * six_k.rms


PROBE_CURVE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)  # published 10K3 type


def probe_after_k(reference_ohm: float, temperature_c: float) -> float:
    """What 95 of 100 benches stay under on the probe's channel after the check. [K]"""
    resistance_ohm = PROBE_CURVE.resistance_ohm(temperature_c)
    circuit = as_wired(reference_ohm, "probe")
    (found,) = resistance_errors(circuit, [resistance_ohm], benches=150, seed=SEED)
    return found.in_kelvin(PROBE_CURVE)[1].p95


@pytest.mark.parametrize("temperature_c", [25.0, 60.0])
def test_the_probe_s_range_errs_little_beside_its_certificate(temperature_c: float) -> None:
    """The certificate of a 10 kΩ probe with U = 0.05 K."""
    assert probe_after_k(2700.0, temperature_c) < 0.025


def test_the_ice_point_lies_beyond_what_the_box_can_check_and_is_read_less_well_for_it() -> None:
    """Nine of each decade are 9,999 Ω; the probe has 33 kΩ, where the quadratic only goes on."""
    assert PROBE_CURVE.resistance_ohm(0.0) > 3.0 * NOMINAL_BOX.highest_ohm
    assert 0.03 < probe_after_k(10200.0, 0.0) < 0.10


def test_a_leaking_input_is_refused_by_the_check_and_not_corrected() -> None:
    """1 µA, the data sheet's largest, across the filter's 4.7 kΩ is 4.7 mV: 19 counts."""
    leaking = replace(as_wired(750.0), grade=replace(B_GRADE, leakage_a=1e-6))
    (found,) = resistance_errors(leaking, [300.0], benches=60, seed=SEED)
    assert found.refused > 45


def test_the_coarser_grade_of_the_chip_is_worse_before_and_after_the_check() -> None:
    b, c = as_wired(750.0), replace(as_wired(750.0), grade=C_GRADE)
    found_b, found_c = (
        resistance_errors(one, [CURVE.resistance_ohm(97.0)], benches=250, seed=SEED)[0] for one in (b, c)
    )
    assert found_c.before_ohm.rms > found_b.before_ohm.rms
    assert found_c.after_ohm.rms > found_b.after_ohm.rms


def test_the_hot_end_needs_the_small_reference() -> None:
    assert after_mk(as_wired(2700.0), 97.0) > 3.0 * after_mk(as_wired(750.0), 97.0)


def test_the_same_seed_draws_the_same_benches() -> None:
    one, again = (resistance_errors(as_wired(750.0), [300.0], benches=5, seed=3) for _ in range(2))
    assert one == again
    assert one != resistance_errors(as_wired(750.0), [300.0], benches=5, seed=4)


def test_every_cause_alone_leaves_no_more_than_all_of_them() -> None:
    about = Surroundings(box_relative_u=5e-5, box_fixed_u_ohm=0.015)
    resistance_ohm = CURVE.resistance_ohm(97.0)
    terms = terms_of(as_wired(750.0), resistance_ohm, benches=120, seed=SEED, surroundings=about)
    (together,) = resistance_errors(
        as_wired(750.0), [resistance_ohm], benches=120, seed=SEED, surroundings=about
    )
    assert all(0.0 < term.rms <= 1.2 * together.after_ohm.rms for term in terms.values())
    assert terms["reference resistor"].rms == pytest.approx(terms["noise and quantisation"].rms, rel=0.1)
