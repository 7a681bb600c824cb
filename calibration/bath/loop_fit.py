"""Curve, lags and noise of a loop, fitted together.

For given lags the sender's temperature follows from the probe's (`calibration.bath.lag`), and the curve is
linear in its coefficients: 1/T over powers of ln R, orthogonalised. So only the lags are searched for, and
the curve is projected out at each step [1]_. Residuals are taken in kelvin and whitened by the noise that
the residuals of the round before show (`calibration.bath.loop_noise`).

References
----------
.. [1] G. H. Golub, V. Pereyra, SIAM Journal on Numerical Analysis 10 (1973) 413-432 (quoted from
   memory).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.signal import savgol_filter

from calibration.bath.lag import Lags, followed
from calibration.bath.loop_noise import LoopNoise, Whitening, fit_noise, white_noise_of
from calibration.bath.loop_record import LoopRecord
from calibration.temperature_scale import ZERO_CELSIUS_K

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

#: What is known before anything is read: a small probe in stirred water, water that gets thinner, a sender
#: with a little body behind its element. Assumed, as value and standard uncertainty. [s], [1/K], [1]
PROBE_LAG_S, PROBE_LAG_U_S = 5.0, 5.0
LAG_SLOPE_PER_K, LAG_SLOPE_U_PER_K = -0.003, 0.005
SLOW_SHARE, SLOW_SHARE_U = 0.05, 0.05

#: A sender taken into use at rest may still stand this far from the water. [K]
START_U_K = 0.05

_LOWEST = (0.2, 0.1, -0.015, -0.05)
_HIGHEST = (200.0, 60.0, 0.010, 0.4)
_SCALES = (1.0, 1.0, 0.001, 0.01)
_FIRST_SENDER_S = (2.0, 4.0, 8.0, 14.0, 22.0, 32.0, 45.0, 70.0, 110.0)
_FIRST_WANDER_K, _FIRST_WANDER_S, _FIRST_LAG_S = 0.02, 60.0, 10.0
_LEAST_NOISE_K = 1e-5
_NOISE_ROUNDS = 3
#: Stretches pooled before they are weighed: the lags speak in tens of seconds, noise in one.
POOLED = 4
#: Stretches that the smooth course runs over, and the degree of ln R in 1/T along it.
_SMOOTHING, _COURSE_DEGREE = 21, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoopSolution:
    """The fit as numbers; `calibration.bath.loop` makes a curve of it.

    Attributes
    ----------
    lags : Lags
    centre, half_span : float
        ``z = (ln R - centre)/half_span`` runs from -1 to 1. [1]
    coefficients : ndarray, shape (4,)
        Of 1, z, z², z³ in 1/T. [1/K]
    covariance : ndarray, shape (9, 9)
        Of sender lag, probe lag, slope, slow share, the coefficients, and the temperature at the start.
    residuals_k : ndarray, shape (n,)
        Temperature by the curve minus that of the sender's body. [K]
    sender_c : ndarray, shape (n,)
        That of the sender's body. [°C]
    noise : LoopNoise
    """

    lags: Lags
    centre: float
    half_span: float
    coefficients: Vector
    covariance: Matrix
    residuals_k: Vector
    sender_c: Vector
    noise: LoopNoise


class _Problem:
    """Residuals in kelvin of one record, with priors as rows of their own."""

    def __init__(self, record: LoopRecord, start_u_k: float) -> None:
        self.record = record
        self.start_u_k = start_u_k
        self.probe_k = max(white_noise_of(record.probe_c), _LEAST_NOISE_K)
        low, high = float(record.log_ohm.min()), float(record.log_ohm.max())
        self.centre, self.half_span = 0.5 * (low + high), 0.5 * (high - low)
        self.weight = (record.probe_c + ZERO_CELSIUS_K) ** 2
        self.take_up(Lags(sender_s=PROBE_LAG_S, probe_s=PROBE_LAG_S, slope_per_k=LAG_SLOPE_PER_K))

    def take_up(self, lags: Lags) -> None:
        """Linearise the curve about a smooth course of ln R that these lags give.

        Whitening lifts noise against a slow signal. Were the curve's powers taken of the readings, noise and
        wander would stand on both sides of the equation and flatten the curve by 0.1 K; taken of a smooth
        course that only the probe shapes, they stand on one.
        """
        record = self.record
        body_k = followed(record.time_s, record.probe_c, lags).sender_c + ZERO_CELSIUS_K
        smooth_k = savgol_filter(body_k, _SMOOTHING, 2)
        course = Polynomial.fit(1.0 / body_k, record.log_ohm, _COURSE_DEGREE)
        log_ohm = course(1.0 / smooth_k)
        z = (log_ohm - self.centre) / self.half_span
        self.powers = self.weight[:, np.newaxis] * np.stack([z**0, z, z**2, z**3], axis=1)
        self.off_course = (record.log_ohm - log_ohm) / course.deriv()(1.0 / smooth_k)

    def model(self, lags: Lags) -> tuple[Vector, Matrix, Matrix, Vector]:
        """Target, its derivatives by the lags, the linear columns (pooled), and the body's temperature."""
        found = followed(self.record.time_s, self.record.probe_c, lags)
        inverse_k = 1.0 / (found.sender_c + ZERO_CELSIUS_K)
        by_kelvin = self.weight * inverse_k**2
        target = self.weight * (inverse_k - self.off_course)
        columns = np.column_stack([self.powers, by_kelvin * found.by_start])
        by_lags = -by_kelvin[:, np.newaxis] * found.by_lags
        return _pooled(target), _pooled(by_lags), _pooled(columns), found.sender_c

    def projected(self, scaled: Vector, whitening: Whitening) -> Vector:
        """Whitened residuals with the curve projected out, less the probe's noise, and the priors."""
        lags = lags_of(scaled)
        target, _, columns, _ = self.model(lags)
        white = whitening.of(np.column_stack([target, columns]))
        pinned = np.zeros((1, white.shape[1]))
        pinned[0, -1] = 1.0 / self.start_u_k
        white = np.vstack([white, pinned])
        basis, _ = np.linalg.qr(white[:, 1:])
        left = white[:, 0] - basis @ (basis.T @ white[:, 0])
        # The probe's noise comes through a filter that the lags decide on: left in, its squares would pull
        # them to where the filter damps most. Expected squares are taken off, as a square of its own.
        squares = target.size * whitening.probe_squares(
            self.probe_k, pooled=POOLED, sender_s=lags.sender_s, probe_s=lags.probe_s
        )
        most = target.size * whitening.most_probe_squares(self.probe_k, pooled=POOLED)
        return np.concatenate([left, [math.sqrt(max(most - squares, 0.0))], _prior_rows(lags)])


def solve_loop(record: LoopRecord, *, start_slope_k_per_s: float) -> LoopSolution:
    """Fit a record.

    Parameters
    ----------
    record : LoopRecord
    start_slope_k_per_s : float
        How fast the bath moved at the start: the less it rested, the less is known of the sender. [K/s]
    """
    problem = _Problem(record, START_U_K + abs(start_slope_k_per_s) * 60.0)
    noise = _first_noise(record, problem.probe_k)
    first = Whitening(noise, sender_s=_FIRST_LAG_S, probe_s=PROBE_LAG_S)
    scaled = min(
        (
            np.array([sender_s, PROBE_LAG_S, LAG_SLOPE_PER_K, SLOW_SHARE]) / _SCALES
            for sender_s in _FIRST_SENDER_S
        ),
        key=lambda start: float(np.sum(problem.projected(start, first) ** 2)),
    )
    scaled = _searched(problem, scaled, first)
    for _ in range(_NOISE_ROUNDS):
        problem.take_up(lags_of(scaled))
        noise = _noise_left(problem, lags_of(scaled), noise)
        scaled = _searched(problem, scaled, _whitening(noise, lags_of(scaled)))
    return _solution(problem, lags_of(scaled), noise)


def _pooled(rows: Vector) -> Vector:
    """Means of `POOLED` rows; what does not fill the first mean is left out."""
    whole = rows.shape[0] - rows.shape[0] % POOLED
    means: Vector = rows[rows.shape[0] - whole :].reshape(-1, POOLED, *rows.shape[1:]).mean(axis=1)
    return means


def _first_noise(record: LoopRecord, probe_k: float) -> LoopNoise:
    span_k = float(record.probe_c[-1] - record.probe_c[0])
    k_per_log = abs(span_k / float(record.log_ohm[-1] - record.log_ohm[0]))
    return LoopNoise(
        step_s=record.step_s * POOLED,
        sender_k=max(white_noise_of(record.log_ohm) * k_per_log, _LEAST_NOISE_K) / math.sqrt(POOLED),
        probe_k=probe_k / math.sqrt(POOLED),
        wander_k=_FIRST_WANDER_K,
        wander_s=_FIRST_WANDER_S,
    )


def _whitening(noise: LoopNoise, lags: Lags) -> Whitening:
    return Whitening(noise, sender_s=lags.sender_s, probe_s=lags.probe_s)


def lags_of(scaled: Vector) -> Lags:
    """Lags of the numbers that are searched for."""
    sender_s, probe_s, slope, share = (float(number) for number in scaled * _SCALES)
    return Lags(sender_s=sender_s, probe_s=probe_s, slope_per_k=slope, slow_share=share)


def _searched(problem: _Problem, start: Vector, whitening: Whitening) -> Vector:
    found = least_squares(
        problem.projected,
        start,
        args=(whitening,),
        bounds=(np.array(_LOWEST) / _SCALES, np.array(_HIGHEST) / _SCALES),
        diff_step=1e-4,
        xtol=1e-6,
        ftol=1e-10,
        max_nfev=40,
    )
    best: Vector = found.x
    return best


def _noise_left(problem: _Problem, lags: Lags, noise: LoopNoise) -> LoopNoise:
    target, by_lags, columns, _ = problem.model(lags)
    coefficients = _coefficients(problem, target, columns, _whitening(noise, lags))
    left = target - columns @ coefficients
    design = np.column_stack([by_lags, columns])
    return fit_noise(left, design, noise, sender_s=lags.sender_s, probe_s=lags.probe_s)


def _coefficients(problem: _Problem, target: Vector, columns: Matrix, whitening: Whitening) -> Vector:
    white = whitening.of(np.column_stack([columns, target]))
    pinned = np.zeros((1, white.shape[1]))
    pinned[0, -2] = 1.0 / problem.start_u_k
    white = np.vstack([white, pinned])
    solution, *_ = np.linalg.lstsq(white[:, :-1], white[:, -1], rcond=None)
    coefficients: Vector = np.asarray(solution, dtype=np.float64)
    return coefficients


def _solution(problem: _Problem, lags: Lags, noise: LoopNoise) -> LoopSolution:
    target, by_lags, columns, sender_c = problem.model(lags)
    coefficients = _coefficients(problem, target, columns, _whitening(noise, lags))
    # Columns act on the model, lags on the target: opposite signs in the residual.
    white = _whitening(noise, lags).of(np.column_stack([-by_lags, columns]))
    information = white.T @ white
    information[-1, -1] += problem.start_u_k**-2
    information[1, 1] += PROBE_LAG_U_S**-2
    information[2, 2] += LAG_SLOPE_U_PER_K**-2
    information[3, 3] += SLOW_SHARE_U**-2
    return LoopSolution(
        lags=lags,
        centre=problem.centre,
        half_span=problem.half_span,
        coefficients=coefficients[:4],
        covariance=_inverse(information),
        residuals_k=target - columns @ coefficients,
        sender_c=sender_c,
        noise=noise,
    )


def _inverse(information: Matrix) -> Matrix:
    """Inverse of a matrix whose rows have very different units."""
    scale = 1.0 / np.sqrt(np.diag(information))
    both = np.outer(scale, scale)
    inverse: Matrix = np.asarray(np.linalg.pinv(information * both, rcond=1e-13, hermitian=True) * both)
    return inverse


def _prior_rows(lags: Lags) -> Vector:
    return np.array(
        [
            (lags.probe_s - PROBE_LAG_S) / PROBE_LAG_U_S,
            (lags.slope_per_k - LAG_SLOPE_PER_K) / LAG_SLOPE_U_PER_K,
            (lags.slow_share - SLOW_SHARE) / SLOW_SHARE_U,
        ]
    )
