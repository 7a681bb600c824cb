"""A loop through the curve: what it finds, and what it refuses."""

import math
import time

import numpy as np
import pytest

from calibration.bath.loop import LoopError, LoopFit, fit_loop
from calibration.curves import load_curve
from calibration.errors import CurveRangeError
from calibration.thermistor.steinhart_hart import SteinhartHart

# Published 10K3 type (tests/calibration/published), scaled to a coolant sender's 2.25 kΩ at 25 °C.
PUBLISHED = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
SCALE = 0.225
AT_C = (30.0, 50.0, 70.0, 85.0)


def sender_ohm(temperature_c: float) -> float:
    return SCALE * PUBLISHED.resistance_ohm(temperature_c)


class LoopBath:
    """A bath stepped by hand at four readings a second; it shares no code with the fit."""

    def __init__(
        self,
        *,
        seed: int = 1,
        sender_s: float = 15.0,
        probe_s: float = 4.0,
        rate_k_per_min: float = 6.0,
        heater_s: float = 30.0,
        pauses_c: tuple[float, ...] = (38.0, 56.0, 76.0),
        pause_s: float = 75.0,
        top_s: float = 130.0,
        wander_k: float = 0.012,
        noise_k: float = 0.004,
        start_off_k_per_min: float = 0.0,
    ) -> None:
        chance = np.random.default_rng(seed)
        step_s, bath_c, heat, wander = 0.25, 25.0, start_off_k_per_min / 60.0, 0.0
        probe_c, body_c = bath_c - heat * probe_s, bath_c - heat * sender_s
        todo, off_until_s, end_s, now_s = list(pauses_c), 0.0 if heat else 20.0, math.inf, 0.0
        rows = []
        while now_s < end_s:
            on = now_s >= off_until_s and math.isinf(end_s)
            heat += ((rate_k_per_min / 60.0 if on else 0.0) - heat) * step_s / heater_s
            bath_c += (heat - 2e-4 * (bath_c - 25.0)) * step_s
            wander += -wander * step_s / 60.0 + wander_k * math.sqrt(step_s / 30.0) * chance.standard_normal()
            share = 1.0 - 0.004 * (bath_c - 60.0)
            probe_c += (bath_c - probe_c) * -math.expm1(-step_s / (probe_s * share))
            body_c += (bath_c + wander - body_c) * -math.expm1(-step_s / (sender_s * share))
            now_s += step_s
            noise = noise_k * chance.standard_normal(2)
            rows.append((now_s, probe_c + noise[0], body_c + noise[1]))
            if todo and bath_c > todo[0]:
                todo.pop(0)
                off_until_s = now_s + pause_s
            if math.isinf(end_s) and bath_c > 88.0:
                end_s = now_s + top_s
        self.time_s, self.probe_c, self.body_c = (np.array(column) for column in zip(*rows, strict=True))
        grid_c = np.linspace(20.0, 100.0, 801)
        self.ohm = np.exp(np.interp(self.body_c, grid_c, np.log([sender_ohm(float(t)) for t in grid_c])))

    def fit(self) -> LoopFit:
        return fit_loop(self.time_s, self.probe_c, self.ohm)


def errors_k(fit: LoopFit) -> np.ndarray:
    return np.array([fit.curve.temperature_c(sender_ohm(t)) - t for t in AT_C])


def test_a_quiet_loop_gives_the_curve_within_a_few_millikelvin() -> None:
    fit = LoopBath(wander_k=0.0, noise_k=0.001).fit()
    assert np.abs(errors_k(fit)).max() < 0.006
    assert fit.lags.sender_s == pytest.approx(15.0, abs=0.5)
    assert fit.lags.probe_s == pytest.approx(4.0, abs=0.5)


@pytest.mark.parametrize("sender_s", [3.0, 15.0, 40.0])
def test_a_restless_loop_gives_the_curve_within_its_own_uncertainty(sender_s: float) -> None:
    """The method asks for 0.03 K, and 0.06 K from a sender of 40 s with pauses of 150 s."""
    for seed in (1, 2):
        fit = LoopBath(seed=seed, sender_s=sender_s, pause_s=max(75.0, 4.0 * sender_s)).fit()
        u_k = np.array([fit.standard_u_k(t) for t in AT_C])
        assert (np.abs(errors_k(fit)) <= 3.0 * u_k).all()
        assert np.abs(errors_k(fit)).max() <= (0.06 if sender_s > 30.0 else 0.045)


def test_the_same_readings_with_no_lags_taken_off_would_be_wrong_by_far_more() -> None:
    bath = LoopBath()
    plain = np.interp(60.0, bath.probe_c, bath.body_c) - 60.0
    assert abs(plain) > 0.3
    assert abs(errors_k(bath.fit())[1]) < 0.1 * abs(plain)


def test_white_noise_covariance_would_be_several_times_too_small() -> None:
    """The method says 4 to 15 times."""
    bath = LoopBath()
    fit = bath.fit()
    white_k = float(fit.residuals_k.std()) * math.sqrt(4.0 / fit.residuals_k.size)
    assert fit.standard_u_k(60.0) > 4.0 * white_k


def test_steady_heating_without_pause_or_rest_is_refused_and_both_are_named() -> None:
    with pytest.raises(LoopError, match="does not tell the lags from the curve") as refusal:
        LoopBath(pauses_c=(), top_s=0.0).fit()
    said = " ".join(refusal.value.missing)
    assert "no pause" in said
    assert "stay at the top" in said


def test_a_pause_that_is_too_short_is_named() -> None:
    bath = LoopBath(pause_s=25.0, heater_s=10.0, top_s=20.0, wander_k=0.05)
    with pytest.raises(LoopError) as refusal:
        bath.fit()
    assert any("too short" in words for words in refusal.value.missing)


def test_a_start_out_of_rest_and_too_high_a_rate_are_named() -> None:
    bath = LoopBath(pauses_c=(), top_s=0.0, start_off_k_per_min=15.0, rate_k_per_min=15.0)
    with pytest.raises(LoopError) as refusal:
        bath.fit()
    said = " ".join(refusal.value.missing)
    assert "start from rest" in said
    assert "heat more slowly" in said


def test_the_curve_says_nothing_beyond_the_measured_range() -> None:
    fit = LoopBath().fit()
    with pytest.raises(CurveRangeError, match="says nothing at 110"):
        fit.standard_u_k(110.0)
    with pytest.raises(CurveRangeError):
        fit.resistance_ohm(5.0)


def test_the_error_against_a_reference_curve_is_indicated_minus_true() -> None:
    fit = LoopBath(wander_k=0.0, noise_k=0.001).fit()
    reference = load_curve("ntc-2k5-20c")
    expected_k = reference.indicated_c(sender_ohm(60.0), at_c=60.0) - 60.0
    assert fit.error_k(reference, 60.0) == pytest.approx(expected_k, abs=0.01)


def test_ohms_in_other_units_give_the_same_temperatures() -> None:
    bath = LoopBath()
    in_ohm = bath.fit()
    in_kilohm = fit_loop(bath.time_s, bath.probe_c, bath.ohm / 1000.0)
    assert in_kilohm.curve.temperature_c(sender_ohm(60.0) / 1000.0) == pytest.approx(
        in_ohm.curve.temperature_c(sender_ohm(60.0)), abs=1e-4
    )


def test_readings_that_come_unevenly_are_borne() -> None:
    bath = LoopBath()
    kept = np.random.default_rng(2).random(bath.time_s.size) > 0.05
    fit = fit_loop(bath.time_s[kept], bath.probe_c[kept], bath.ohm[kept])
    assert np.abs(errors_k(fit)).max() < 0.06


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda t, p, r: (t[:400], p[:400], r[:400]), "180 s or more"),
        (lambda t, p, r: (np.where(t > 300.0, t + 60.0, t), p, r), "a gap of"),
        (lambda t, p, r: (t[::-1], p, r), "180 s or more"),
        (lambda t, p, r: (t, 25.0 + 0.1 * (p - 25.0), r), "a curve needs"),
        (lambda t, p, r: (t, p, np.where(t == t[50], -1.0, r)), "above zero"),
        (lambda t, p, r: (t, p[1:], r), "for every reading"),
    ],
)
def test_readings_that_are_no_loop_are_refused(spoil, words: str) -> None:
    bath = LoopBath()
    with pytest.raises(LoopError, match=words):
        fit_loop(*spoil(bath.time_s, bath.probe_c, bath.ohm))


def test_ten_thousand_readings_are_fitted_well_within_a_second() -> None:
    bath = LoopBath(rate_k_per_min=3.0, pause_s=240.0, top_s=300.0)
    assert bath.time_s.size > 9000
    took_s = []
    for _ in range(3):
        began_s = time.perf_counter()
        bath.fit()
        took_s.append(time.perf_counter() - began_s)
    assert min(took_s) < 1.0
