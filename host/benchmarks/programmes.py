"""How a desk heats: through a loop with its pauses, or to plateaus that settle of themselves."""

import numpy as np
from numpy.typing import NDArray

from calibration.bath.identifiability import PAUSE_IN_LAGS, PAUSES_NEAR_C, SHORTEST_PAUSE_S, SHORTEST_TOP_S
from calibration.bath.settling import SETTLING_WINDOW_S, SLOPE_LIMIT_K_PER_MIN, SPREAD_LIMIT_K
from host.benchmarks.course import STEP_S, Seen
from host.benchmarks.world import Array, Benches

Flags = NDArray[np.bool_]

#: A plateau is read for so long. [s]
WINDOW_S = 60.0
_ARRIVAL_K = 1.5
_REST_S = 20.0
# Where loops end, at the latest.
_TOP_C = 91.0
# Of what the heater holds, this much has come into the water by the end of the rest, losses taken off.
_RUN_ON_SHARE = 0.7


class LoopProgramme:
    """Heats at full power, rests at each pause, and at the top; ends there.

    Parameters
    ----------
    benches : Benches
    pauses_c : sequence of float
        Where the heater goes off. [°C]
    pause_lags, shortest_pause_s, top_s : float
        Length of a pause in lags of the sender, its least, and the rest at the top. [1], [s], [s]
    """

    def __init__(
        self,
        benches: Benches,
        *,
        pauses_c: tuple[float, ...] = PAUSES_NEAR_C,
        pause_lags: float = PAUSE_IN_LAGS,
        shortest_pause_s: float = SHORTEST_PAUSE_S,
        top_s: float = SHORTEST_TOP_S,
    ) -> None:
        count = benches.count
        self._pauses_c = np.array([*pauses_c, np.inf])
        self._pause_s = np.maximum(shortest_pause_s, pause_lags * benches.sender_lag_s)
        self._top_s = np.maximum(top_s, 0.0)
        self._next = np.zeros(count, dtype=int)
        self._off_until_s = np.full(count, _REST_S)
        # What runs on after switching off, seen at the first pause by a desk; here from the heater's lag.
        self._runs_on_k = _RUN_ON_SHARE * benches.rate_k_per_min / 60.0 * benches.heater_lag_s
        self.end_s = np.full(count, np.inf)
        self.heater_off: list[list[tuple[float, float]]] = [[] for _ in range(count)]
        self._now_s = 0.0

    @property
    def done(self) -> Flags:
        """Which loops have ended."""
        ended: Flags = self._now_s >= self.end_s
        return ended

    def heat(self, time_s: float, seen: Seen) -> Array:
        """Full power but for the pauses and the top."""
        self._now_s = time_s
        begins = (seen.probe_c >= self._pauses_c[self._next]) & np.isinf(self.end_s)
        for bench in np.flatnonzero(begins):
            self._off_until_s[bench] = time_s + self._pause_s[bench]
            self.heater_off[bench].append((time_s, time_s + float(self._pause_s[bench])))
            self._next[bench] += 1
        resting = time_s < self._off_until_s
        tops = (seen.probe_c + self._runs_on_k >= _TOP_C) & ~resting & np.isinf(self.end_s)
        for bench in np.flatnonzero(tops):
            self.end_s[bench] = time_s + self._top_s
            self.heater_off[bench].append((time_s, float(self.end_s[bench])))
        return np.where(resting | np.isfinite(self.end_s), 0.0, 1.0)


class PlateauProgramme:
    """Goes from set point to set point; each is read once probe and sender have settled.

    The thermostat knows its bath well: it holds with the losses it expects, and damps with the heater's own
    lag, so that it hardly overshoots.

    Parameters
    ----------
    benches : Benches
    set_points_c : sequence of float
        [°C]
    """

    def __init__(self, benches: Benches, set_points_c: tuple[float, ...]) -> None:
        count = benches.count
        self._benches = benches
        self._set_c = np.array(set_points_c)
        self._at = np.zeros(count, dtype=int)
        self._kept = int(SETTLING_WINDOW_S / STEP_S)
        self._history = np.full((2, self._kept, count), np.nan)
        self._step = 0
        self._open_until_s = np.full(count, np.inf)
        self._sum = np.zeros(count)
        self.windows: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        self.end_s = np.full(count, np.inf)
        self._centred_s = STEP_S * (np.arange(self._kept) - 0.5 * (self._kept - 1))

    @property
    def done(self) -> Flags:
        """Which benches have read every set point."""
        ended: Flags = self._at >= self._set_c.size
        return ended

    def heat(self, time_s: float, seen: Seen) -> Array:
        """What the thermostat gives."""
        row = self._step % self._kept
        self._history[0, row], self._history[1, row] = seen.probe_c, seen.sender_c
        self._step += 1
        if self._step % 4 == 0 and self._step >= self._kept:
            self._look(time_s, seen)
        return self._thermostat(seen)

    def _look(self, time_s: float, seen: Seen) -> None:
        wanted = self._set_c[np.minimum(self._at, self._set_c.size - 1)]
        closes = (time_s >= self._open_until_s) & ~self.done
        for bench in np.flatnonzero(closes):
            last = self._step
            self.windows[bench].append((last - int(WINDOW_S / STEP_S), last))
            self._at[bench] += 1
            self._open_until_s[bench] = np.inf
            self._sum[bench] = 0.0
            if self._at[bench] == self._set_c.size:
                self.end_s[bench] = time_s
        opens = (
            self._settled()
            & (np.abs(seen.probe_c - wanted) <= _ARRIVAL_K)
            & np.isinf(self._open_until_s)
            & ~self.done
            & ~closes
        )
        self._open_until_s[opens] = time_s + WINDOW_S

    def _settled(self) -> Flags:
        order = np.roll(np.arange(self._kept), -(self._step % self._kept))
        rows = self._history[:, order]
        centred = rows - rows.mean(axis=1, keepdims=True)
        slope = np.einsum("t,ctk->ck", self._centred_s, centred) / (self._centred_s @ self._centred_s)
        left = centred - slope[:, np.newaxis] * self._centred_s[:, np.newaxis]
        spread = np.sqrt((left**2).sum(axis=1) / (self._kept - 2))
        good = (np.abs(slope) * 60.0 <= SLOPE_LIMIT_K_PER_MIN) & (spread <= SPREAD_LIMIT_K)
        settled: Flags = good.all(axis=0)
        return settled

    def _thermostat(self, seen: Seen) -> Array:
        benches = self._benches
        wanted = self._set_c[np.minimum(self._at, self._set_c.size - 1)]
        full_k_per_s = benches.rate_k_per_min / 60.0
        back = (self._step - 1 - 20) % self._kept
        before = self._history[0, back]
        slope = np.where(np.isnan(before), 0.0, (seen.probe_c - before) / (20 * STEP_S))
        away = wanted - seen.probe_c
        near = np.abs(away) < 1.0
        self._sum += np.where(near, away * STEP_S, 0.0)
        evaporation = 1.0 + 2.0 * np.clip((wanted - 40.0) / 55.0, 0.0, None) ** 2
        holding = benches.loss_per_s * (wanted - benches.air_c) * evaporation / full_k_per_s
        speed = 0.6 / benches.heater_lag_s
        pushed = speed * (away - benches.heater_lag_s * slope) + 0.1 * speed**2 * self._sum
        return np.clip(holding + pushed / full_k_per_s, 0.0, 1.0)
