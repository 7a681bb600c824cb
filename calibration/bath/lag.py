"""Two bodies in one bath: what the sender's temperature was, from what the probe's was.

Each body follows the bath by a first-order lag, ``τ dT/dt = T_bath - T``, and the lags fall as the water
gets thinner. A small part of the sender, its body behind the element, may follow more slowly still: how much
is hard to see and easy to mistake for the curve, so it is sought with what is known of such senders
beforehand. The bath itself drops out: between two readings it is the probe's temperature plus the probe's
lag times its slope, and the sender follows that. No reading is ever differentiated twice, and where the
sender is the slower of the two the noise of the probe is damped and not amplified.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

#: Temperature that lags are stated at. [°C]
LAGS_STATED_AT_C = 60.0

#: Lag of a sender's slow part against that of its main part. Assumed; only the share is sought. [1]
SLOW_FACTOR = 2.8

#: A lag changes by no more than this factor over a loop, or a linear slope says nothing.
_SMALLEST_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Lags:
    """How sender and probe follow the bath.

    Attributes
    ----------
    sender_s, probe_s : float
        Lags at `LAGS_STATED_AT_C`. [s]
    slope_per_k : float
        Relative change of both with temperature. [1/K]
    slow_share : float
        Part of the sender's response that follows `SLOW_FACTOR` times more slowly. [1]
    """

    sender_s: float
    probe_s: float
    slope_per_k: float
    slow_share: float = 0.0

    @property
    def mean_sender_s(self) -> float:
        """Lag of the sender on a long ramp. [s]"""
        return self.sender_s * (1.0 + (SLOW_FACTOR - 1.0) * self.slow_share)

    def share(self, temperature_c: Vector | float) -> Vector:
        """Lag at a temperature against the stated one. [1]"""
        along = 1.0 + self.slope_per_k * (np.asarray(temperature_c, dtype=float) - LAGS_STATED_AT_C)
        shares: Vector = np.maximum(along, _SMALLEST_SHARE)
        return shares

    def difference_s(self, temperature_c: float) -> float:
        """By how much the sender lags more than the probe. [s]"""
        return (self.mean_sender_s - self.probe_s) * float(self.share(temperature_c))


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """The sender's temperature, and how it changes with what is sought.

    Attributes
    ----------
    sender_c : ndarray, shape (n,)
        [°C]
    by_lags : ndarray, shape (n, 4)
        Derivatives by sender lag, probe lag, slope and slow share. [K/s, K/s, K·K, K]
    by_start : ndarray, shape (n,)
        Derivative by the sender's temperature at the start: a difference dies away with its lag. [1]
    """

    sender_c: Vector
    by_lags: Matrix
    by_start: Vector


def followed(time_s: Vector, probe_c: Vector, lags: Lags) -> Followed:
    """Temperature of the sender's element, from the probe's readings.

    Exact for a probe whose temperature runs straight between readings.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Increasing, not necessarily even. [s]
    probe_c : ndarray, shape (n,)
        By the probe's certificate. [°C]
    lags : Lags
    """
    main = _one_body(time_s, probe_c, lags, lags.sender_s)
    slow = _one_body(time_s, probe_c, lags, SLOW_FACTOR * lags.sender_s)
    part = lags.slow_share
    by_lags = np.empty((probe_c.size, 4))
    by_lags[:, :3] = (1.0 - part) * main.by_lags + part * slow.by_lags * np.array([SLOW_FACTOR, 1.0, 1.0])
    by_lags[:, 3] = slow.sender_c - main.sender_c
    return Followed(
        sender_c=main.sender_c + part * by_lags[:, 3],
        by_lags=by_lags,
        by_start=(1.0 - part) * main.by_start + part * slow.by_start,
    )


def _one_body(time_s: Vector, probe_c: Vector, lags: Lags, sender_s: float) -> Followed:
    """A body of one lag; derivatives by that lag, the probe's and the slope."""
    step_s = np.diff(time_s)
    rise_k = np.diff(probe_c)
    middle_c = probe_c[:-1] + 0.5 * rise_k
    share = lags.share(middle_c)
    lag_s = sender_s * share
    slope_k_per_s = rise_k / step_s
    ahead_k = lags.probe_s * share * slope_k_per_s
    kept = np.exp(-step_s / lag_s)
    mean_kept = lag_s * (1.0 - kept) / step_s
    forcings = np.zeros((probe_c.size, 1))
    forcings[0, 0] = probe_c[0]
    forcings[1:, 0] = (
        (1.0 - mean_kept) * probe_c[1:] + (mean_kept - kept) * probe_c[:-1] + (1.0 - kept) * ahead_k
    )
    sender_c = _recursion(kept, forcings)[:, 0]
    kept_by_lag = kept * step_s / lag_s**2
    mean_by_lag = (1.0 - kept) / step_s - kept / lag_s
    by_sender = kept_by_lag * (sender_c[:-1] - probe_c[:-1] - ahead_k) - mean_by_lag * rise_k
    by_probe = (1.0 - kept) * slope_k_per_s
    share_by_slope = np.where(share > _SMALLEST_SHARE, middle_c - LAGS_STATED_AT_C, 0.0)
    forcings = np.zeros((probe_c.size, 4))
    forcings[1:, 0] = by_sender * share
    forcings[1:, 1] = by_probe * share
    forcings[1:, 2] = (sender_s * by_sender + lags.probe_s * by_probe) * share_by_slope
    forcings[0, 3] = 1.0
    derivatives = _recursion(kept, forcings)
    return Followed(sender_c=sender_c, by_lags=derivatives[:, :3], by_start=derivatives[:, 3])


def _recursion(kept: Vector, forcings: Matrix) -> Matrix:
    """``y_i = kept_i y_(i-1) + f_i`` for every column: a bidiagonal system, solved forward."""
    band = np.ones((2, forcings.shape[0]), order="F")
    band[1, :-1] = -kept
    solution, _ = lapack.dtbtrs(band, forcings, uplo="L", diag="U")
    columns: Matrix = solution
    return columns
