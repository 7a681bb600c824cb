"""How near the loop fit comes to the least variance that any unbiased fit can have (Cramér-Rao).

The bound is that of the coloured noise of the bath, known exactly and dense, with the probe's noise carried
through the lags; what is known beforehand of lags and slow part is given to it as to the fit. The fit has to
find the noise for itself.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.bath.lag import SLOW_FACTOR, Lags, followed
from calibration.bath.loop import LoopError, fit_loop
from calibration.bath.loop_fit import (
    LAG_SLOPE_PER_K,
    LAG_SLOPE_U_PER_K,
    PROBE_LAG_S,
    PROBE_LAG_U_S,
    SLOW_SHARE,
    SLOW_SHARE_U,
    START_U_K,
)
from calibration.bath.loop_record import STRETCH_S
from calibration.temperature_scale import ZERO_CELSIUS_K
from host.benchmarks.course import STEP_S
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Progress
from host.benchmarks.world import Array, reference_curve

GOAL = 1.2
TEMPERATURES_C = (30.0, 45.0, 60.0, 75.0, 85.0)
_FITS, _QUICK_FITS = 300, 12
_TOGETHER = int(STRETCH_S / STEP_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """One bath and sender."""

    name: str
    rate_k_per_min: float
    heater_lag_s: float
    lags: Lags
    white_k: float
    wander_k: float
    wander_s: float


def _usual(sender_s: float) -> Lags:
    return Lags(sender_s=sender_s, probe_s=PROBE_LAG_S, slope_per_k=LAG_SLOPE_PER_K, slow_share=SLOW_SHARE)


_CASES = (
    _Case(
        name="kettle",
        rate_k_per_min=10.0,
        heater_lag_s=25.0,
        white_k=0.005,
        wander_k=0.015,
        wander_s=40.0,
        lags=_usual(8.0),
    ),
    _Case(
        name="hotplate",
        rate_k_per_min=5.0,
        heater_lag_s=70.0,
        white_k=0.005,
        wander_k=0.020,
        wander_s=100.0,
        lags=_usual(15.0),
    ),
    _Case(
        name="jug",
        rate_k_per_min=7.0,
        heater_lag_s=30.0,
        white_k=0.003,
        wander_k=0.010,
        wander_s=80.0,
        lags=_usual(25.0),
    ),
)


class Efficiency:
    """The same loop again and again with fresh noise, against the bound."""

    name = "efficiency"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Compare the scatter of the fitted curve with the bound."""
        fits = _QUICK_FITS if quick else _FITS
        rows, ratios, refused = [], {}, 0
        for number, case in enumerate(_CASES):
            time_s, probe_c = _quiet_loop(case)
            bound_k = _bound_k(case, time_s, probe_c)
            chance = np.random.default_rng([seed, 4, number])
            progress(number * fits, len(_CASES) * fits, case.name)
            wrong_k, stated_k, lost = _fitted(case, time_s, probe_c, fits, chance)
            refused += lost
            rms_k = np.sqrt(np.mean(wrong_k**2, axis=0))
            ratios[case.name] = (rms_k / bound_k) ** 2
            rows += [
                (
                    case.name,
                    f"{t:g}",
                    f"{1e3 * bound_k[i]:.1f}",
                    f"{1e3 * rms_k[i]:.1f}",
                    f"{1e3 * wrong_k[:, i].mean():+.1f}",
                    f"{1e3 * stated_k[i]:.1f}",
                    f"{ratios[case.name][i]:.2f}",
                )
                for i, t in enumerate(TEMPERATURES_C)
            ]
        return BenchmarkResult(
            name=self.name,
            title="Efficiency: scatter of the fitted curve against the Cramér-Rao bound",
            seed=seed,
            counts=f"{fits} loops on each of {len(_CASES)} baths",
            columns=(
                "bath",
                "°C",
                "bound, mK",
                "rms error, mK",
                "mean error, mK",
                "stated u, mK",
                "variance ratio",
            ),
            rows=tuple(rows),
            merits=(
                FigureOfMerit(
                    name="variance against the bound, mean over baths and temperatures",
                    value=float(np.mean(list(ratios.values()))),
                    goal=GOAL,
                ),
                FigureOfMerit(
                    name="variance against the bound, worst bath (mean over temperatures)",
                    value=float(max(np.mean(each) for each in ratios.values())),
                    goal=GOAL,
                ),
                FigureOfMerit(name="loops refused", value=float(refused)),
            ),
            notes=(
                f"A variance from {fits} loops is itself uncertain by {100.0 * np.sqrt(2.0 / fits):.0f} %.",
            ),
            data={name: each.tolist() for name, each in ratios.items()},
            draw=_draw(ratios),
        )


def _quiet_loop(case: _Case) -> tuple[Array, Array]:
    """Reading times and the noiseless probe of one loop by the usual programme. [s], [°C]"""
    pauses = [38.0, 56.0, 76.0, np.inf]
    pause_s = max(75.0, 4.0 * case.lags.sender_s)
    runs_on_k = 0.7 * case.rate_k_per_min / 60.0 * case.heater_lag_s
    water_c = probe_c = 25.0
    share, off_until_s, end_s, now_s = 0.0, 20.0, np.inf, 0.0
    times, rows = [], []
    while now_s < end_s:
        if probe_c >= pauses[0]:
            pauses.pop(0)
            off_until_s = now_s + pause_s
        if np.isinf(end_s) and now_s >= off_until_s and probe_c + runs_on_k >= 90.0:
            end_s = now_s + 120.0
        on = 1.0 if now_s >= off_until_s and np.isinf(end_s) else 0.0
        share += (on - share) * -np.expm1(-STEP_S / case.heater_lag_s)
        water_c += STEP_S * (share * case.rate_k_per_min / 60.0 - 2e-4 * (water_c - 22.0))
        lag_s = case.lags.probe_s * float(case.lags.share(water_c))
        probe_c += (water_c - probe_c) * -np.expm1(-STEP_S / lag_s)
        now_s += STEP_S
        times.append(now_s)
        rows.append(probe_c)
    whole = len(times) - len(times) % _TOGETHER
    return np.array(times[-whole:]), np.array(rows[-whole:])


def _fitted(
    case: _Case, time_s: Array, probe_c: Array, fits: int, chance: np.random.Generator
) -> tuple[Array, Array, int]:
    """Errors of the fitted curve, shape (fits, temperatures); mean stated uncertainty; refusals. [K]"""
    nominal = reference_curve().nominal
    grid_c = np.linspace(15.0, 105.0, 600)
    log_ohm = np.log([nominal.resistance_ohm(float(t)) for t in grid_c])
    wander_k = _followed_wander(case, time_s, probe_c, fits, chance)
    wrong, stated, lost = [], [], 0
    for number in range(fits):
        noise = case.white_k * chance.standard_normal((2, time_s.size))
        sender_c = followed(time_s, probe_c, _drawn(case, chance)).sender_c
        ohm = np.exp(np.interp(sender_c + wander_k[:, number] + noise[0], grid_c, log_ohm))
        try:
            fit = fit_loop(time_s, probe_c + noise[1], ohm)
        except LoopError:
            lost += 1
            continue
        wrong.append([fit.curve.temperature_c(nominal.resistance_ohm(t)) - t for t in TEMPERATURES_C])
        stated.append([fit.standard_u_k(t) for t in TEMPERATURES_C])
    return np.array(wrong), np.mean(stated, axis=0), lost


def _drawn(case: _Case, chance: np.random.Generator) -> Lags:
    """Lags of one loop, drawn from what is assumed: at its middle alone the fit would look too good."""
    return Lags(
        sender_s=case.lags.sender_s,
        probe_s=max(chance.normal(PROBE_LAG_S, PROBE_LAG_U_S), 0.5),
        slope_per_k=min(max(chance.normal(LAG_SLOPE_PER_K, LAG_SLOPE_U_PER_K), -0.012), 0.008),
        slow_share=max(chance.normal(SLOW_SHARE, SLOW_SHARE_U), 0.0),
    )


def _followed_wander(
    case: _Case, time_s: Array, sender_c: Array, fits: int, chance: np.random.Generator
) -> Array:
    """The bath's wander as the main part of the sender follows it; shape (readings, fits). [K]"""
    kept = np.exp(-STEP_S / case.wander_s)
    water = case.wander_k * chance.standard_normal(fits)
    body = np.zeros(fits)
    follows = -np.expm1(-STEP_S / (case.lags.sender_s * case.lags.share(sender_c)))
    rows = np.empty((time_s.size, fits))
    for step in range(-int(20 * case.wander_s), time_s.size):
        water = kept * water + case.wander_k * np.sqrt(1.0 - kept**2) * chance.standard_normal(fits)
        body = body + (water - body) * follows[max(step, 0)]
        if step >= 0:
            rows[step] = body
    return rows


def _bound_k(case: _Case, time_s: Array, probe_c: Array) -> Array:
    """Least standard deviation of the curve's temperature at each temperature. [K]"""
    stretch_s = time_s.reshape(-1, _TOGETHER).mean(axis=1)
    stretch_c = probe_c.reshape(-1, _TOGETHER).mean(axis=1)
    found = followed(stretch_s, stretch_c, case.lags)
    nominal = reference_curve().nominal
    log_ohm = np.log([nominal.resistance_ohm(float(t)) for t in found.sender_c])
    centre, half = 0.5 * (log_ohm.max() + log_ohm.min()), 0.5 * (log_ohm.max() - log_ohm.min())
    kelvin2 = (found.sender_c + ZERO_CELSIUS_K) ** 2
    powers = kelvin2[:, np.newaxis] * ((log_ohm - centre) / half)[:, np.newaxis] ** np.arange(4.0)
    design = np.column_stack([found.by_lags, powers, found.by_start])
    covariance = _covariance(case, stretch_s, stretch_c)
    white = np.linalg.solve(np.linalg.cholesky(covariance), design)
    information = white.T @ white
    known = {1: PROBE_LAG_U_S, 2: LAG_SLOPE_U_PER_K, 3: SLOW_SHARE_U, 8: START_U_K}
    for place, u in known.items():
        information[place, place] += u**-2
    scale = 1.0 / np.sqrt(np.diag(information))
    least = np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale)
    at = (np.log([nominal.resistance_ohm(t) for t in TEMPERATURES_C]) - centre) / half
    rows = (np.array(TEMPERATURES_C) + ZERO_CELSIUS_K)[:, np.newaxis] ** 2 * at[:, np.newaxis] ** np.arange(
        4.0
    )
    bound: Array = np.sqrt(np.einsum("ti,ij,tj->t", rows, least[4:8, 4:8], rows))
    return bound


def _covariance(case: _Case, time_s: Array, probe_c: Array) -> Array:
    """Of the difference between curve and body, averaged over stretches. [K²]"""
    white_k2 = case.white_k**2 / _TOGETHER
    apart_s = np.abs(time_s[:, np.newaxis] - time_s)
    wander = case.wander_k**2 * np.exp(-apart_s / case.wander_s)
    single = Lags(sender_s=case.lags.sender_s, probe_s=0.0, slope_per_k=case.lags.slope_per_k)
    follows = _operator(time_s, probe_c, single)
    through = _operator(time_s, probe_c, case.lags)
    covariance: Array = follows @ wander @ follows.T + white_k2 * (through @ through.T)
    return covariance + white_k2 * np.eye(time_s.size)


def _operator(time_s: Array, probe_c: Array, lags: Lags) -> Array:
    """Matrix that makes the sender's temperature of the probe's, at lags that follow the course's own."""
    share = lags.slow_share
    main = _one_operator(time_s, probe_c, lags, lags.sender_s)
    if share == 0.0:
        return main
    mixed: Array = (1.0 - share) * main + share * _one_operator(
        time_s, probe_c, lags, SLOW_FACTOR * lags.sender_s
    )
    return mixed


def _one_operator(time_s: Array, probe_c: Array, lags: Lags, sender_s: float) -> Array:
    step_s = np.diff(time_s)
    along = lags.share(0.5 * (probe_c[1:] + probe_c[:-1]))
    lag_s = sender_s * along
    kept = np.exp(-step_s / lag_s)
    mean_kept = lag_s * (1.0 - kept) / step_s
    ahead = (1.0 - kept) * lags.probe_s * along / step_s
    count = time_s.size
    recursion, forcing = np.eye(count), np.eye(count)
    rows = np.arange(1, count)
    recursion[rows, rows - 1] = -kept
    forcing[rows, rows] = 1.0 - mean_kept + ahead
    forcing[rows, rows - 1] = mean_kept - kept - ahead
    matrix: Array = np.asarray(np.linalg.solve(recursion, forcing), dtype=np.float64)
    return matrix


def _draw(ratios: dict[str, Array]) -> Callable[[Any], None]:
    def draw(figure: Any) -> None:
        axes = figure.subplots()
        for (name, each), marker in zip(ratios.items(), "osD", strict=True):
            axes.plot(TEMPERATURES_C, each, marker=marker, label=name)
        axes.axhline(1.0, linewidth=0.8)
        axes.axhline(GOAL, linestyle="--", linewidth=0.8)
        axes.set_ylim(bottom=0.0)
        axes.set_xlabel("temperature in °C")
        axes.set_ylabel("variance against the bound")
        axes.legend(frameon=False)

    return draw


benchmark = Efficiency()
