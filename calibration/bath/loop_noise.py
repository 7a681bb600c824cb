"""What a loop's residuals are like: white noise of both readings over a slow wander of the bath.

The wander is a first-order autoregression that the sender follows with its own lag; the probe's noise comes
through the filter that makes the sender's temperature of it. Together they are an ARMA(2, 2)
process; factoring its spectrum gives the short recursive filter that turns coloured least squares into plain
ones. Size and memory of the wander come from the restricted likelihood [1]_: the curve takes up part of any
slow wander, and the plain likelihood would call the rest small. How long the wander remembers, a loop hardly
says once the curve has taken up its slow part; so a prior stands beside the likelihood.

References
----------
.. [1] H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545-554 (form quoted from memory).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.signal import lfilter

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]
ComplexVector = NDArray[np.complex128]

#: Shortest and longest wander that is told from white noise and from the curve. [s]
SHORTEST_WANDER_S, LONGEST_WANDER_S = 2.0, 300.0

#: Prior of its correlation time: stirred water, minutes rather than seconds. Assumed; log-normal. [s], [1]
USUAL_WANDER_S, _WANDER_LOG_U = 80.0, 0.7

#: Wander against white noise in one stretch: beyond these only one of them is seen. [1]
_LEAST_MIX, _MOST_MIX = 0.02, 300.0

#: Variance of a third difference of white noise: 1 + 9 + 9 + 1.
_THIRD_DIFFERENCE = 20.0
#: A squared difference of so many medians is none of noise: of normal ones it is 4.3 standard deviations.
_OUTLYING = 40.0

_TURNS = np.exp(-1j * np.pi * (np.arange(64) + 0.5) / 64)
_MOST_GAIN = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopNoise:
    """Coloured noise of evenly spaced residuals.

    Attributes
    ----------
    step_s : float
        Spacing. [s]
    sender_k, probe_k : float
        Standard deviation of the white noise of each. [K]
    wander_k : float
        Standard deviation of the bath's wander between the two, before the sender's lag. [K]
    wander_s : float
        Its correlation time. [s]
    """

    step_s: float
    sender_k: float
    probe_k: float
    wander_k: float
    wander_s: float

    def times(self, factor: float) -> "LoopNoise":
        """The same noise, louder."""
        return replace(
            self,
            sender_k=self.sender_k * factor,
            probe_k=self.probe_k * factor,
            wander_k=self.wander_k * factor,
        )


def white_noise_of(values: Vector) -> float:
    """Standard deviation of the white part of evenly spaced readings, by third differences. [their unit]"""
    squares = np.diff(values, 3) ** 2
    usual = squares[squares <= _OUTLYING * np.median(squares)]
    return math.sqrt(float(usual.mean()) / _THIRD_DIFFERENCE)


class Whitening:
    """The filter that makes the residuals of given lags white.

    Parameters
    ----------
    noise : LoopNoise
    sender_s, probe_s : float
        Lags. [s]
    """

    def __init__(self, noise: LoopNoise, *, sender_s: float, probe_s: float) -> None:
        kept = math.exp(-noise.step_s / sender_s)
        memory = math.exp(-noise.step_s / noise.wander_s)
        probe = _probe_weights(noise.step_s, sender_s, probe_s)[0]
        self._forward = np.convolve([1.0, -kept], [1.0, -memory])
        white_k2 = _autocovariance(noise.sender_k * self._forward)
        white_k2 += _autocovariance(noise.probe_k * np.convolve(probe, [1.0, -memory]))
        fed_k2 = (noise.wander_k * (1.0 - kept)) ** 2 * (1.0 - memory**2)
        white_k2[0] += fed_k2
        self._step_s = noise.step_s
        self._pooled_gains: dict[int, Vector] = {}
        first, second = _inside_roots(*white_k2)
        self._back = np.array([1.0, float(-(first + second).real), float((first * second).real)])
        # State of the filter under a constant 1: what `lfilter_zi` solves for, written out for two poles.
        rest = float(self._forward.sum() / self._back.sum())
        self._at_rest = np.array([rest - self._forward[0], self._forward[2] - self._back[2] * rest])
        #: What cannot be foretold from the readings before. [K]
        self.innovation_k = math.sqrt(white_k2[0] / float(self._back @ self._back))
        level = (1.0 + kept * memory) / ((1.0 - kept * memory) * (1.0 - kept**2) * (1.0 - memory**2))
        #: Spread of a single residual. [K]
        self.level_k = math.sqrt(fed_k2 * level + noise.sender_k**2 + noise.probe_k**2)

    def of(self, columns: Matrix) -> Matrix:
        """Columns in units of the innovations; the first row carries the level by its own spread.

        Parameters
        ----------
        columns : ndarray, shape (n, m)
            Evenly spaced along the first axis.
        """
        # The filter begins as if the first value had stood there for ever.
        state = self._at_rest[:, np.newaxis] * columns[:1]
        white, _ = lfilter(self._forward, self._back, columns, axis=0, zi=state)
        white /= self.innovation_k
        white[0] = columns[0] / self.level_k
        out: Matrix = white
        return out

    def probe_squares(self, probe_k: float, *, pooled: int, sender_s: float, probe_s: float) -> float:
        """Square that the probe's noise is expected to leave in one residual if the lags were these. [1]

        Parameters
        ----------
        probe_k : float
            Noise of one stretch. [K]
        pooled : int
            Stretches that make up one residual.
        sender_s, probe_s : float
            Lags that are tried. [s]
        """
        through = _gain(*_probe_weights(self._step_s / pooled, sender_s, probe_s), _TURNS)
        return float(np.mean(self._pooled_gain(pooled) * through)) * probe_k**2

    def most_probe_squares(self, probe_k: float, *, pooled: int) -> float:
        """The same at a gain that no sound pair of lags has. [1]"""
        return float(np.mean(self._pooled_gain(pooled))) * (_MOST_GAIN * probe_k) ** 2

    def _pooled_gain(self, pooled: int) -> Vector:
        """Square of the gain from a stretch to a whitened residual; what pooling folds over is in it."""
        if pooled not in self._pooled_gains:
            mean = _gain(np.full(pooled, 1.0 / pooled), np.ones(1), _TURNS)
            white = _gain(self._forward, self._back, _TURNS**pooled) / self.innovation_k**2
            self._pooled_gains[pooled] = mean * white
        return self._pooled_gains[pooled]

    def log_determinant(self, count: int) -> float:
        """Logarithm of the determinant of the covariance of ``count`` residuals. [1]"""
        return 2.0 * ((count - 1) * math.log(self.innovation_k) + math.log(self.level_k))


def _probe_weights(step_s: float, sender_s: float, probe_s: float) -> tuple[Vector, Vector]:
    """Recursive filter that makes the sender's temperature of the probe's, at even steps."""
    kept = math.exp(-step_s / sender_s)
    mean_kept = sender_s * (1.0 - kept) / step_s
    ahead = (1.0 - kept) * probe_s / step_s
    return np.array([1.0 - mean_kept + ahead, mean_kept - kept - ahead]), np.array([1.0, -kept])


def _gain(forward: Vector, back: Vector, turns: ComplexVector) -> Vector:
    """Square of a filter's gain at points on the unit circle."""
    gains: Vector = (np.abs(np.polyval(forward[::-1], turns)) / np.abs(np.polyval(back[::-1], turns))) ** 2
    return gains


def _autocovariance(weights: Vector) -> Vector:
    """Of a moving average of three weights, at distances 0, 1 and 2."""
    return np.array([weights @ weights, weights[:-1] @ weights[1:], weights[0] * weights[2]])


def _inside_roots(c0: float, c1: float, c2: float) -> tuple[complex, complex]:
    """Roots within the unit circle of ``c2 (z² + z⁻²) + c1 (z + z⁻¹) + c0``."""
    # With x = z + 1/z this is c2 x² + c1 x + (c0 - 2 c2).
    half = complex(c1 * c1 - 4.0 * c2 * (c0 - 2.0 * c2)) ** 0.5
    larger = c1 + half if abs(c1 + half) > abs(c1 - half) else c1 - half
    pair = (-larger / (2.0 * c2), -2.0 * (c0 - 2.0 * c2) / larger)
    return _inside(pair[0]), _inside(pair[1])


def _inside(x: complex) -> complex:
    half = (x * x / 4.0 - 1.0) ** 0.5
    root = x / 2.0 + half if abs(x / 2.0 + half) > abs(x / 2.0 - half) else x / 2.0 - half
    return 1.0 / root


def fit_noise(
    residuals_k: Vector, design: Matrix, known: LoopNoise, *, sender_s: float, probe_s: float
) -> LoopNoise:
    """Noise that makes the residuals likeliest, with what the fit took up allowed for.

    Parameters
    ----------
    residuals_k : ndarray, shape (n,)
        What a fit left, in order. [K]
    design : ndarray, shape (n, m)
        Derivatives of the residuals by everything that was fitted.
    known : LoopNoise
        Its spacing and the ratio of its white parts are kept.
    sender_s, probe_s : float
        Lags of that fit. [s]
    """
    orthogonal, _ = np.linalg.qr(design)
    columns = np.column_stack([orthogonal, residuals_k])
    white_k = math.hypot(known.sender_k, known.probe_k)

    def shaped(shape: Vector) -> LoopNoise:
        mix = _between(shape[1], _LEAST_MIX, _MOST_MIX)
        wander_s = _between(shape[0], SHORTEST_WANDER_S, LONGEST_WANDER_S)
        return replace(known, wander_k=mix * white_k, wander_s=wander_s)

    def misfit(shape: Vector) -> float:
        noise = shaped(shape)
        prior = (math.log(noise.wander_s / USUAL_WANDER_S) / _WANDER_LOG_U) ** 2
        return prior + _restricted(columns, Whitening(noise, sender_s=sender_s, probe_s=probe_s))[0]

    starts = [np.array([wander, mix]) for wander in (-2.0, 0.0, 2.0) for mix in (-3.0, -1.0, 1.0)]
    best = min(starts, key=misfit)
    found = minimize(
        misfit, best, method="Nelder-Mead", options={"xatol": 0.05, "fatol": 0.02, "maxfev": 100}
    )
    noise = shaped(found.x)
    factor = _restricted(columns, Whitening(noise, sender_s=sender_s, probe_s=probe_s))[1]
    return noise.times(max(factor, 1e-6))


def _between(number: float, low: float, high: float) -> float:
    """A number within its bounds, whatever the search tries."""
    share = 1.0 / (1.0 + math.exp(-min(max(number, -30.0), 30.0)))
    return float(low * (high / low) ** share)


def _restricted(columns: Matrix, whitening: Whitening) -> tuple[float, float]:
    """Minus twice the restricted log-likelihood, and the factor the noise has to be multiplied with."""
    white = whitening.of(columns)
    normal = white.T @ white
    fitted = normal[:-1, :-1]
    triangle = np.linalg.cholesky(fitted + 1e-14 * np.trace(fitted) * np.eye(fitted.shape[0]))
    taken = np.linalg.solve(triangle, normal[:-1, -1])
    degrees = columns.shape[0] - fitted.shape[0]
    variance = max(float(normal[-1, -1] - taken @ taken), 1e-300) / degrees
    misfit = degrees * math.log(variance) + 2.0 * float(np.log(np.diag(triangle)).sum())
    return misfit + whitening.log_determinant(columns.shape[0]), math.sqrt(variance)
