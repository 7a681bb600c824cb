"""Whether a channel has settled: slope and spread over the last stretch of time."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

#: Stretch of rig time that is looked at. [s]
SETTLING_WINDOW_S = 30.0

#: Largest slope of a settled channel. [K/min]
SLOPE_LIMIT_K_PER_MIN = 0.15

#: Largest standard deviation about the line of a settled channel. [K]
SPREAD_LIMIT_K = 0.10

_FEWEST_READINGS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """State of one channel.

    Attributes
    ----------
    slope_k_per_min : float
        Of the straight line through the stretch. [K/min]
    spread_k : float
        Standard deviation about that line. [K]
    full : bool
        True where the readings cover the whole stretch.
    wait_s : float or None
        Estimated time until the slope is under its limit; None where it cannot be told. [s]
    """

    slope_k_per_min: float
    spread_k: float
    full: bool
    wait_s: float | None

    @property
    def settled(self) -> bool:
        """True where slope and spread are under their limits over a whole stretch."""
        return (
            self.full
            and abs(self.slope_k_per_min) <= SLOPE_LIMIT_K_PER_MIN
            and self.spread_k <= SPREAD_LIMIT_K
        )


def settling(time_s: Sequence[float], temperature_c: Sequence[float]) -> Settling:
    """State of a channel from its last readings.

    Parameters
    ----------
    time_s : sequence of float, shape (n,)
        Rig time, increasing. [s]
    temperature_c : sequence of float, shape (n,)
        Of one channel. [°C]
    """
    times, values = np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float)
    if times.size < _FEWEST_READINGS:
        return Settling(slope_k_per_min=math.nan, spread_k=math.nan, full=False, wait_s=None)
    recent = times > times[-1] - SETTLING_WINDOW_S
    slope, spread = _line(times[recent], values[recent])
    full = bool(times[-1] - times[0] >= 0.95 * SETTLING_WINDOW_S) and int(recent.sum()) >= _FEWEST_READINGS
    return Settling(
        slope_k_per_min=60.0 * slope,
        spread_k=spread,
        full=full,
        wait_s=_wait_s(times[recent], values[recent], slope),
    )


def slope_k_per_min(time_s: Sequence[float], temperature_c: Sequence[float]) -> float:
    """Slope of the straight line through readings. [K/min]

    Parameters
    ----------
    time_s, temperature_c : sequence of float, shape (n,)
        Readings, not all at one time. [s], [°C]
    """
    slope, _ = _line(np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float))
    return 60.0 * slope


def _line(times: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    centred = times - times.mean()
    slope = float(centred @ (values - values.mean()) / (centred @ centred))
    left = values - values.mean() - slope * centred
    return slope, float(math.sqrt(left @ left / max(times.size - 2, 1)))


def _wait_s(times: np.ndarray, values: np.ndarray, slope: float) -> float | None:
    """An exponential approach: each half's slope is the one before, times exp(-h / tau)."""
    limit = SLOPE_LIMIT_K_PER_MIN / 60.0
    if abs(slope) <= limit:
        return 0.0
    half = times.size // 2
    first, _ = _line(times[:half], values[:half])
    last, _ = _line(times[half:], values[half:])
    if first * last <= 0.0 or abs(last) >= abs(first):
        return None
    tau_s = (times[-1] - times[0]) / 2.0 / math.log(first / last)
    return float(max(tau_s * math.log(abs(last) / limit), 0.0) + SETTLING_WINDOW_S)
