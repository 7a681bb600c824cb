"""One loop with a known curve, fitted by the bench and by lmfit, a general-purpose fitting package.

Both get the same readings and fit the same equations: a cubic for 1/T in ln R, both lags, their slope with
temperature, and the sender's slow part. lmfit is called as its users call it: all readings, white residuals
in kelvin, derivatives by differences, and a forward model written for it here that solves each lag as one
banded system and computes nothing else. The bench averages over a second, projects the curve out and finds
the bath's coloured noise beside.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from calibration.bath.lag import SLOW_FACTOR, Lags
from calibration.bath.loop import fit_loop
from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor.steinhart_hart import SteinhartHart

Vector = NDArray[np.float64]

_STEP_S = 0.25
_START_C, _TOP_C = 22.0, 95.0
_PAUSES_C, _PAUSE_S = (38.0, 56.0, 76.0), 110.0
_LAGS = Lags(sender_s=18.0, probe_s=6.0, slope_per_k=-0.004)
_PROBE_NOISE_K, _SENDER_NOISE_RELATIVE = 0.004, 1.5e-4
_WANDER_K, _WANDER_S = 0.01, 60.0
#: A 2.5 kΩ part at 20 °C, rounded coefficients of an invented sender.
_SENDER = SteinhartHart(a=1.335e-3, b=2.61e-4, c=1.5e-7)
#: Where the two curves are compared with the true one. [°C]
COMPARED_C = (30.0, 60.0, 90.0)


class LoopReadings:
    """Readings of one loop, and what is true of them.

    Parameters
    ----------
    count : int
        How many readings, a quarter of a second apart.
    seed : int
    """

    def __init__(self, count: int, seed: int) -> None:
        chance = np.random.default_rng(seed)
        self.time_s: Vector = np.arange(count) * _STEP_S
        bath_c = _programme(self.time_s)
        self.heater_off = _pauses(self.time_s, bath_c)
        probe_c = _lagging(bath_c, _LAGS.probe_s * _LAGS.share(bath_c))
        sender_c = _lagging(bath_c + _wander(count, chance), _LAGS.sender_s * _LAGS.share(bath_c))
        inverse_k = 1.0 / (sender_c + ZERO_CELSIUS_K)
        self.sender_ohm: Vector = _resistance_ohm(inverse_k) * (
            1.0 + _SENDER_NOISE_RELATIVE * chance.standard_normal(count)
        )
        self.probe_c: Vector = probe_c + _PROBE_NOISE_K * chance.standard_normal(count)


def by_the_bench(readings: LoopReadings) -> dict[float, float]:
    """Error of the bench's curve at each compared temperature. [K]"""
    fit = fit_loop(readings.time_s, readings.probe_c, readings.sender_ohm, heater_off=readings.heater_off)
    return {at_c: fit.curve.temperature_c(_SENDER.resistance_ohm(at_c)) - at_c for at_c in COMPARED_C}


def by_lmfit(readings: LoopReadings) -> dict[float, float]:
    """Error of lmfit's curve at each compared temperature. [K]"""
    # A development package: only this benchmark needs it.
    import lmfit

    log_ohm = np.log(readings.sender_ohm)
    centre, half_span = 0.5 * (log_ohm.min() + log_ohm.max()), 0.5 * np.ptp(log_ohm)
    z = (log_ohm - centre) / half_span
    first = np.polynomial.polynomial.polyfit(z, 1000.0 / (readings.probe_c + ZERO_CELSIUS_K), 3)

    def inverse_kk(values: dict[str, float], place: Vector | float) -> Vector:
        powers = (values[f"c{power}"] * place**power for power in range(4))
        return np.asarray(sum(powers))

    def residuals_k(parameters: "lmfit.Parameters") -> Vector:
        values = parameters.valuesdict()
        lags = Lags(
            sender_s=values["sender_s"],
            probe_s=values["probe_s"],
            slope_per_k=values["slope_per_k"],
            slow_share=values["slow_share"],
        )
        body_c = element_c(readings.time_s, readings.probe_c, lags)
        return 1000.0 / inverse_kk(values, z) - ZERO_CELSIUS_K - body_c

    parameters = lmfit.Parameters()
    parameters.add("sender_s", value=10.0, min=0.2, max=200.0)
    parameters.add("probe_s", value=5.0, min=0.1, max=60.0)
    parameters.add("slope_per_k", value=-0.003, min=-0.015, max=0.010)
    parameters.add("slow_share", value=0.05, min=0.0, max=0.5)
    for power, value in enumerate(first):
        parameters.add(f"c{power}", value=float(value))
    found = lmfit.minimize(residuals_k, parameters).params.valuesdict()
    return {
        at_c: float(
            1000.0 / inverse_kk(found, (math.log(_SENDER.resistance_ohm(at_c)) - centre) / half_span)
            - ZERO_CELSIUS_K
            - at_c
        )
        for at_c in COMPARED_C
    }


def element_c(time_s: Vector, probe_c: Vector, lags: Lags) -> Vector:
    """The sender's element from the probe, without derivatives: what a user of lmfit needs."""
    step_s, rise_k = np.diff(time_s), np.diff(probe_c)
    share = lags.share(probe_c[:-1] + 0.5 * rise_k)
    ahead_k = lags.probe_s * share * rise_k / step_s
    bodies = []
    for sender_s in (lags.sender_s, SLOW_FACTOR * lags.sender_s):
        kept = np.exp(-step_s / (sender_s * share))
        mean_kept = sender_s * share * (1.0 - kept) / step_s
        fed = (1.0 - mean_kept) * probe_c[1:] + (mean_kept - kept) * probe_c[:-1] + (1.0 - kept) * ahead_k
        band = np.ones((2, probe_c.size))
        band[1, :-1] = -kept
        bodies.append(solve_banded((1, 0), band, np.concatenate([probe_c[:1], fed]), check_finite=False))
    return np.asarray((1.0 - lags.slow_share) * bodies[0] + lags.slow_share * bodies[1])


def _programme(time_s: Vector) -> Vector:
    """Bath: at rest, heated with pauses, and left at the top; as long as the readings last."""
    heated_s = time_s[-1] - 60.0 - _PAUSE_S * len(_PAUSES_C) - 240.0
    rate = (_TOP_C - _START_C) / heated_s
    times, temperatures = [0.0, 60.0], [_START_C, _START_C]
    for stop_c in (*_PAUSES_C, _TOP_C):
        times.append(times[-1] + (stop_c - temperatures[-1]) / rate)
        temperatures.append(stop_c)
        times.append(times[-1] + (_PAUSE_S if stop_c < _TOP_C else 1e4))
        temperatures.append(stop_c)
    return np.interp(time_s, times, temperatures)


def _pauses(time_s: Vector, bath_c: Vector) -> list[tuple[float, float]]:
    held = [time_s[np.isclose(bath_c, stop_c)] for stop_c in (*_PAUSES_C, _TOP_C)]
    return [(float(when[0]), float(when[-1])) for when in held]


def _lagging(bath_c: Vector, lag_s: Vector) -> Vector:
    body_c, out = float(bath_c[0]), np.empty_like(bath_c)
    for place, (bath, kept) in enumerate(zip(bath_c, np.exp(-_STEP_S / lag_s), strict=True)):
        body_c = bath + (body_c - bath) * kept
        out[place] = body_c
    return out


def _wander(count: int, chance: np.random.Generator) -> Vector:
    share, drawn = math.exp(-_STEP_S / _WANDER_S), chance.standard_normal(count)
    at, out = _WANDER_K * drawn[0], np.empty(count)
    for place in range(count):
        out[place] = at
        at = share * at + _WANDER_K * math.sqrt(1.0 - share**2) * drawn[place]
    return out


def _resistance_ohm(inverse_k: Vector) -> Vector:
    grid_c = np.linspace(0.0, 110.0, 1101)
    log_ohm = np.array([math.log(_SENDER.resistance_ohm(float(at_c))) for at_c in grid_c])
    # 1/T falls with T: turned round, so that it rises for the interpolation.
    return np.exp(np.interp(inverse_k, 1.0 / (grid_c[::-1] + ZERO_CELSIUS_K), log_ohm[::-1]))
