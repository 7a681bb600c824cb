"""What the probe says of how a loop was heated: rest at the start, pauses, top, rate."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

#: The bath counts as heating while it rises faster than this share of its usual rate.
_HEATING_SHARE = 0.6
#: A slope is taken over this stretch, or noise would look like pauses. [s]
_SLOPE_OVER_S = 20.0
_START_S = 20.0
#: A dip shorter than this is a ripple of the thermostat. [s]
_SHORTEST_DIP_S = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A stretch with the heater off, or with the rise well below its usual rate.

    Attributes
    ----------
    from_s, to_s : float
        Rig time. [s]
    at_c : float
        Temperature at its middle. [°C]
    """

    from_s: float
    to_s: float
    at_c: float

    @property
    def length_s(self) -> float:
        """How long it took. [s]"""
        return self.to_s - self.from_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Heating:
    """How a loop was heated.

    Attributes
    ----------
    start_slope_k_per_min : float
        Over the first stretch. [K/min]
    rate_k_per_min : float
        Usual rate while heating. [K/min]
    pauses : tuple[Pause, ...]
        Between first and last heating.
    top_s : float
        Time after the last heating. [s]
    """

    start_slope_k_per_min: float
    rate_k_per_min: float
    pauses: tuple[Pause, ...]
    top_s: float


def heating_of(
    time_s: Vector, probe_c: Vector, heater_off: Sequence[tuple[float, float]] | None = None
) -> Heating:
    """How a loop was heated, from its probe.

    Parameters
    ----------
    time_s, probe_c : ndarray, shape (n,)
        [s], [°C]
    heater_off : sequence of (from, to), optional
        When the heater was off between its first and last use, and from its last use to the end, as the
        desk noted it. Without, pauses are read from the rise of the probe, which lags. [s]
    """
    slope = _slopes(time_s, probe_c)
    rising = slope[slope > 0.3 * np.percentile(slope, 95.0)]
    rate = float(np.median(rising)) if rising.size else 0.0
    first = time_s < time_s[0] + _START_S
    start = float(np.polyfit(time_s[first], probe_c[first], 1)[0]) if first.sum() > 2 else 0.0
    spans = heater_off if heater_off is not None else _dips(time_s, slope, rate)
    inner = [span for span in spans if span[0] > time_s[0] + 1.0 and span[1] < time_s[-1] - 1.0]
    last = [span for span in spans if span[1] >= time_s[-1] - 1.0]
    return Heating(
        start_slope_k_per_min=60.0 * start,
        rate_k_per_min=60.0 * rate,
        pauses=tuple(_pause(time_s, probe_c, *span) for span in inner),
        top_s=float(time_s[-1] - last[0][0]) if last else 0.0,
    )


def _pause(time_s: Vector, probe_c: Vector, from_s: float, to_s: float) -> Pause:
    return Pause(
        from_s=float(from_s), to_s=float(to_s), at_c=float(np.interp(0.5 * (from_s + to_s), time_s, probe_c))
    )


def _slopes(time_s: Vector, probe_c: Vector) -> Vector:
    """Slope over a stretch about each reading. [K/s]"""
    before = np.maximum(time_s - 0.5 * _SLOPE_OVER_S, time_s[0])
    after = np.minimum(time_s + 0.5 * _SLOPE_OVER_S, time_s[-1])
    slopes: Vector = (np.interp(after, time_s, probe_c) - np.interp(before, time_s, probe_c)) / (
        after - before
    )
    return slopes


def _dips(time_s: Vector, slope: Vector, rate: float) -> list[tuple[float, float]]:
    """Stretches after the first heating where the rise is well below its usual rate."""
    fast = slope > _HEATING_SHARE * rate
    if not fast.any():
        return []
    begins = int(np.argmax(fast))
    slow = np.concatenate([[False], ~fast[begins:], [False]])
    edges = np.flatnonzero(np.diff(slow.astype(int)))
    times = np.append(time_s[begins:], time_s[-1])
    spans = [(float(times[a]), float(times[b])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [span for span in spans if span[1] - span[0] >= _SHORTEST_DIP_S]
