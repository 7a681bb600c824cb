"""The loop: curve and lags of a sender from one heating through its range, with pauses."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.bath.heating import Heating, heating_of
from calibration.bath.identifiability import LARGEST_LAG_DOUBT_K, missing_of, pause_for_s
from calibration.bath.lag import LAGS_STATED_AT_C, SLOW_FACTOR, Lags
from calibration.bath.loop_fit import LoopSolution, solve_loop
from calibration.bath.loop_noise import LoopNoise
from calibration.bath.loop_record import LoopError, loop_record
from calibration.curves.reference_curve import ReferenceCurve
from calibration.errors import CurveRangeError
from calibration.temperature_scale import kelvin_from_celsius
from calibration.thermistor.steinhart_hart import SteinhartHartSquare

__all__ = ["LoopError", "LoopFit", "fit_loop"]

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

#: How far beyond the measured range a temperature may be asked for. [K]
_EDGE_K = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoopFit:
    """What a loop says of a sender.

    Attributes
    ----------
    curve : SteinhartHartSquare
        Of the isothermal sender; the logarithm is taken of R over the middle of the measured range.
    curve_covariance : ndarray, shape (4, 4)
        Of its a, b, c, d. [1/K²]
    lags : Lags
    u_sender_lag_s, u_probe_lag_s, u_slope_per_k : float
        Standard uncertainties of the lags. [s], [s], [1/K]
    lag_doubt_k : float
        Standard uncertainty of the difference of lags in the middle of the range, times the heating rate;
        what their slope adds towards the ends is in the covariance of the curve. [K]
    noise : LoopNoise
    residuals_k : ndarray, shape (n,)
        Temperature by the curve minus that of the sender's body, averaged over a second. [K]
    time_s, sender_c : ndarray, shape (n,)
        When, and that body's temperature. [s], [°C]
    heating : Heating
    valid_from_c, valid_to_c : float
        Measured range: the curve says nothing outside it. [°C]
    """

    curve: SteinhartHartSquare
    curve_covariance: Matrix
    lags: Lags
    u_sender_lag_s: float
    u_probe_lag_s: float
    u_slope_per_k: float
    lag_doubt_k: float
    noise: LoopNoise
    residuals_k: Vector
    time_s: Vector
    sender_c: Vector
    heating: Heating
    valid_from_c: float
    valid_to_c: float

    @property
    def degrees_of_freedom(self) -> float:
        """Of the noise: stretches of a loop that know nothing of each other, less what was fitted."""
        span_s = float(self.time_s[-1] - self.time_s[0])
        return max(span_s / (2.0 * self.noise.wander_s) - 8.0, 3.0)

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance of the isothermal sender. [Ω]

        Raises
        ------
        CurveRangeError
            If the loop did not go there.
        """
        self._refuse_outside(temperature_c)
        return self.curve.resistance_ohm(temperature_c)

    def standard_u_k(self, temperature_c: float) -> float:
        """Standard uncertainty of the curve's temperature, from the noise and what it hides. [K]

        Lags and their slope are in it: their covariance with the curve is the fit's own. What is common to
        all readings (probe, gradient, stem, ohms) is not.
        """
        self._refuse_outside(temperature_c)
        return standard_u_k(self.curve, self.curve_covariance, temperature_c)

    def error_k(self, reference: ReferenceCurve, temperature_c: float) -> float:
        """Indicated minus true temperature against a reference curve. [K]

        Raises
        ------
        CurveRangeError
            If the loop did not go there, or the reference curve says nothing there.
        """
        ohm = self.resistance_ohm(temperature_c)
        return reference.indicated_c(ohm, at_c=temperature_c) - temperature_c

    def _refuse_outside(self, temperature_c: float) -> None:
        if not self.valid_from_c - _EDGE_K <= temperature_c <= self.valid_to_c + _EDGE_K:
            raise CurveRangeError(
                f"The loop went from {self.valid_from_c:.1f} to {self.valid_to_c:.1f} °C and says nothing at "
                f"{temperature_c:g} °C. Ask within that range, or run a loop that goes there.",
                asked=temperature_c,
                lowest=self.valid_from_c,
                highest=self.valid_to_c,
                unit="°C",
            )


def fit_loop(
    time_s: ArrayLike,
    probe_c: ArrayLike,
    sender_ohm: ArrayLike,
    *,
    heater_off: Sequence[tuple[float, float]] | None = None,
) -> LoopFit:
    """Fit curve, lags and noise to the readings of a loop.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Rig time, increasing. [s]
    probe_c : array_like, shape (n,)
        By the probe's certificate. [°C]
    sender_ohm : array_like, shape (n,)
        Corrected resistance of the sender. [Ω]
    heater_off : sequence of (from, to), optional
        When the heater was off between heatings and after the last, as noted by the desk. [s]

    Raises
    ------
    LoopError
        If the readings are no loop, or do not tell the lags from the curve; its ``missing`` says what the
        next loop needs.
    """
    record = loop_record(time_s, probe_c, sender_ohm)
    heating = heating_of(record.time_s, record.probe_c, heater_off)
    solution = solve_loop(record, start_slope_k_per_s=heating.start_slope_k_per_min / 60.0)
    low_c, high_c = float(solution.sender_c.min()), float(solution.sender_c.max())
    u_lag_s = _u_difference_s(solution, 0.5 * (low_c + high_c))
    doubt_k = u_lag_s * heating.rate_k_per_min / 60.0
    if not doubt_k <= LARGEST_LAG_DOUBT_K:
        raise _not_told_apart(heating, solution.lags, u_lag_s, doubt_k)
    curve = _curve_of(solution)
    if not curve.cubic.rises_between(-solution.half_span, solution.half_span):
        raise LoopError(
            "The best curve is not that of an NTC thermistor: its resistance does not fall all the way. "
            "Look at the sender's leads and at the range it was read on, then run the loop again."
        )
    scale = solution.half_span ** -np.arange(4.0)
    u_sender, u_probe, u_slope, _ = np.sqrt(np.diag(solution.covariance))[:4]
    return LoopFit(
        curve=curve,
        curve_covariance=solution.covariance[4:8, 4:8] * np.outer(scale, scale),
        lags=solution.lags,
        u_sender_lag_s=float(u_sender),
        u_probe_lag_s=float(u_probe),
        u_slope_per_k=float(u_slope),
        lag_doubt_k=doubt_k,
        noise=solution.noise,
        residuals_k=solution.residuals_k,
        time_s=record.time_s,
        sender_c=solution.sender_c,
        heating=heating,
        valid_from_c=low_c,
        valid_to_c=high_c,
    )


def standard_u_k(curve: SteinhartHartSquare, covariance: Matrix, temperature_c: float) -> float:
    """Standard uncertainty of a curve's temperature at its resistance there. [K]

    Parameters
    ----------
    curve : SteinhartHartSquare
    covariance : ndarray, shape (4, 4)
        Of its a, b, c, d. [1/K²]
    temperature_c : float
        [°C]
    """
    ohm = curve.resistance_ohm(temperature_c)
    powers = math.log(ohm / curve.reference_ohm) ** np.arange(4.0)
    return kelvin_from_celsius(temperature_c) ** 2 * math.sqrt(max(float(powers @ covariance @ powers), 0.0))


def _curve_of(solution: LoopSolution) -> SteinhartHartSquare:
    a, b, c, d = (
        float(coefficient) / solution.half_span**power
        for power, coefficient in enumerate(solution.coefficients)
    )
    return SteinhartHartSquare(a=a, b=b, c=c, d=d, reference_ohm=math.exp(solution.centre))


def _u_difference_s(solution: LoopSolution, temperature_c: float) -> float:
    """Standard uncertainty of sender lag minus probe lag at a temperature. [s]"""
    share = float(solution.lags.share(temperature_c))
    away_k = temperature_c - LAGS_STATED_AT_C
    lags = solution.lags
    by_sender = share * (1.0 + (SLOW_FACTOR - 1.0) * lags.slow_share)
    by_slope = (lags.mean_sender_s - lags.probe_s) * away_k
    by = np.array([by_sender, -share, by_slope, share * (SLOW_FACTOR - 1.0) * lags.sender_s])
    return math.sqrt(max(float(by @ solution.covariance[:4, :4] @ by), 0.0))


def _not_told_apart(heating: Heating, lags: Lags, u_lag_s: float, doubt_k: float) -> LoopError:
    missing = missing_of(heating, sender_lag_s=lags.sender_s)
    if not missing:
        slower = heating.rate_k_per_min * LARGEST_LAG_DOUBT_K / doubt_k
        missing = (
            f"longer pauses, of {1.5 * pause_for_s(lags.sender_s):.0f} s, or heating no faster than "
            f"{slower:.1f} K/min: this sender is slow, or the bath restless",
        )
    return LoopError(
        f"This loop does not tell the lags from the curve: the lag is uncertain by {u_lag_s:.1f} s, which at "
        f"{heating.rate_k_per_min:.1f} K/min is {doubt_k:.3f} K; the limit is {LARGEST_LAG_DOUBT_K:g} K. "
        f"Missing: {'; '.join(missing)}.",
        missing=missing,
    )
