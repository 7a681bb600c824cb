"""How near the loop fit comes to the least variance that any unbiased fit can have (Cramér-Rao).

The bound is that of the coloured noise of the bath, known exactly and dense, with the probe's noise carried
through the lags; what is known beforehand of lags and slow part is given to it as to the fit. The fit has to
find the noise for itself.

On the usual baths probe lag, slope and slow part are drawn from what is known beforehand, so that knowing it
is all gain. On the baths "away" one of them, or all, stand about two standard uncertainties off and are the
same in every loop: there what is known beforehand pulls, and the bound, which takes it for true, is no longer
a bound. What counts there is whether the stated uncertainty still holds.
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
from calibration.temperature_scale import ZERO_CELSIUS_K
from host.benchmarks.course import STEP_S
from host.benchmarks.efficiency_cases import AWAY_CASES, TOGETHER, USUAL_CASES, Case, quiet_loop
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Progress
from host.benchmarks.world import Array, reference_curve

GOAL = 1.2
TEMPERATURES_C = (30.0, 45.0, 60.0, 75.0, 85.0)
_FITS, _QUICK_FITS = 300, 12


class Efficiency:
    """The same loop again and again with fresh noise, against the bound."""

    name = "efficiency"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """Compare the scatter of the fitted curve with the bound."""
        fits = _QUICK_FITS if quick else _FITS
        cases = (*USUAL_CASES, *AWAY_CASES)
        found = []
        for number, case in enumerate(cases):
            progress(number * fits, len(cases) * fits, case.name)
            found.append(_scattered(case, fits, np.random.default_rng([seed, 4, number])))
        usual = [each for each in found if not each.case.away]
        away = [each for each in found if each.case.away]
        ratios = {each.case.name: each.ratios for each in usual}
        return BenchmarkResult(
            name=self.name,
            title="Efficiency: scatter of the fitted curve against the Cramér-Rao bound",
            seed=seed,
            counts=f"{fits} loops a bath: {len(USUAL_CASES)} usual ones, {len(AWAY_CASES)} with lags away",
            columns=(
                "bath",
                "°C",
                "bound, mK",
                "rms error, mK",
                "mean error, mK",
                "stated u, mK",
                "variance ratio",
                "held by 2 u, %",
            ),
            rows=tuple(row for each in found for row in each.rows()),
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
                FigureOfMerit(
                    name="lags away: share of errors held by 2 u, worst bath (mean over temperatures)",
                    value=float(min(np.mean(each.held) for each in away)),
                ),
                FigureOfMerit(
                    name="lags away: largest mean error in K",
                    value=float(max(np.abs(each.wrong_k.mean(axis=0)).max() for each in away)),
                ),
                FigureOfMerit(name="loops refused", value=float(sum(each.refused for each in found))),
            ),
            notes=(
                f"A variance from {fits} loops is itself uncertain by {100.0 * np.sqrt(2.0 / fits):.0f} %.",
                "Lags away: probe lag and slow part stand two standard uncertainties off what is assumed, "
                "the slope 1.8. The ratio to the bound is no merit there; it may lie on either side of 1.",
            ),
            data={each.case.name: each.as_data() for each in found},
            draw=_draw(ratios),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatter:
    """What the fits of one bath did.

    Attributes
    ----------
    case : Case
    bound_k, stated_k : ndarray, shape (temperatures,)
        Least standard deviation, and mean stated uncertainty. [K]
    wrong_k : ndarray, shape (fits, temperatures)
        Errors. [K]
    held : ndarray, shape (temperatures,)
        Share of errors within two of their own stated uncertainties. [1]
    refused : int
    """

    case: Case
    bound_k: Array
    stated_k: Array
    wrong_k: Array
    held: Array
    refused: int

    @property
    def rms_k(self) -> Array:
        """Errors, bias and all; shape (temperatures,). [K]"""
        rms: Array = np.sqrt(np.mean(self.wrong_k**2, axis=0))
        return rms

    @property
    def ratios(self) -> Array:
        """Variance against the bound; shape (temperatures,). [1]"""
        ratios: Array = (self.rms_k / self.bound_k) ** 2
        return ratios

    def rows(self) -> list[tuple[str, ...]]:
        """Rows of the table."""
        return [
            (
                self.case.name,
                f"{t:g}",
                f"{1e3 * self.bound_k[i]:.1f}",
                f"{1e3 * self.rms_k[i]:.1f}",
                f"{1e3 * self.wrong_k[:, i].mean():+.1f}",
                f"{1e3 * self.stated_k[i]:.1f}",
                f"{self.ratios[i]:.2f}",
                f"{100.0 * self.held[i]:.1f}",
            )
            for i, t in enumerate(TEMPERATURES_C)
        ]

    def as_data(self) -> dict[str, Any]:
        """Numbers for the JSON file."""
        return {
            "away": self.case.away,
            "variance_ratio": self.ratios.tolist(),
            "bound_k": self.bound_k.tolist(),
            "rms_k": self.rms_k.tolist(),
            "mean_error_k": self.wrong_k.mean(axis=0).tolist(),
            "stated_u_k": self.stated_k.tolist(),
            "held_by_2_u": self.held.tolist(),
            "refused": self.refused,
        }


def _scattered(case: Case, fits: int, chance: np.random.Generator) -> _Scatter:
    time_s, probe_c = quiet_loop(case)
    wrong_k, stated_k, refused = _fitted(case, time_s, probe_c, fits, chance)
    return _Scatter(
        case=case,
        bound_k=_bound_k(case, time_s, probe_c),
        stated_k=stated_k.mean(axis=0),
        wrong_k=wrong_k,
        held=np.mean(np.abs(wrong_k) <= 2.0 * stated_k, axis=0),
        refused=refused,
    )


def _fitted(
    case: Case, time_s: Array, probe_c: Array, fits: int, chance: np.random.Generator
) -> tuple[Array, Array, int]:
    """Errors of the fitted curve and stated uncertainties, shape (fits, temperatures); refusals. [K]"""
    nominal = reference_curve().nominal
    grid_c = np.linspace(15.0, 105.0, 600)
    log_ohm = np.log([nominal.resistance_ohm(float(t)) for t in grid_c])
    wander_k = _followed_wander(case, time_s, probe_c, fits, chance)
    wrong, stated, lost = [], [], 0
    for number in range(fits):
        noise = case.white_k * chance.standard_normal((2, time_s.size))
        lags = case.lags if case.away else _drawn(case, chance)
        sender_c = followed(time_s, probe_c, lags).sender_c
        ohm = np.exp(np.interp(sender_c + wander_k[:, number] + noise[0], grid_c, log_ohm))
        try:
            fit = fit_loop(time_s, probe_c + noise[1], ohm)
        except LoopError:
            lost += 1
            continue
        wrong.append([fit.curve.temperature_c(nominal.resistance_ohm(t)) - t for t in TEMPERATURES_C])
        stated.append([fit.standard_u_k(t) for t in TEMPERATURES_C])
    return np.array(wrong), np.array(stated), lost


def _drawn(case: Case, chance: np.random.Generator) -> Lags:
    """Lags of one loop, drawn from what is assumed: at its middle alone the fit would look too good."""
    return Lags(
        sender_s=case.lags.sender_s,
        probe_s=max(chance.normal(PROBE_LAG_S, PROBE_LAG_U_S), 0.5),
        slope_per_k=min(max(chance.normal(LAG_SLOPE_PER_K, LAG_SLOPE_U_PER_K), -0.012), 0.008),
        slow_share=max(chance.normal(SLOW_SHARE, SLOW_SHARE_U), 0.0),
    )


def _followed_wander(
    case: Case, time_s: Array, sender_c: Array, fits: int, chance: np.random.Generator
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


def _bound_k(case: Case, time_s: Array, probe_c: Array) -> Array:
    """Least standard deviation of the curve's temperature at each temperature. [K]"""
    stretch_s = time_s.reshape(-1, TOGETHER).mean(axis=1)
    stretch_c = probe_c.reshape(-1, TOGETHER).mean(axis=1)
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


def _covariance(case: Case, time_s: Array, probe_c: Array) -> Array:
    """Of the difference between curve and body, averaged over stretches. [K²]"""
    white_k2 = case.white_k**2 / TOGETHER
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
