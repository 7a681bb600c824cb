"""Baths and senders of the efficiency benchmark: usual ones, and ones whose lags are not what is assumed."""

from dataclasses import dataclass, replace

import numpy as np

from calibration.bath.identifiability import PAUSES_NEAR_C, pause_for_s
from calibration.bath.lag import Lags
from calibration.bath.loop_fit import (
    LAG_SLOPE_PER_K,
    LAG_SLOPE_U_PER_K,
    PROBE_LAG_S,
    PROBE_LAG_U_S,
    SLOW_SHARE,
    SLOW_SHARE_U,
)
from calibration.bath.loop_record import STRETCH_S
from host.benchmarks.course import STEP_S
from host.benchmarks.world import Array

#: Readings of a stretch.
TOGETHER = int(STRETCH_S / STEP_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One bath and sender.

    Attributes
    ----------
    name : str
    rate_k_per_min, heater_lag_s : float
        [K/min], [s]
    lags : Lags
        At the middle of what is assumed, or all there is where ``away``.
    white_k, wander_k, wander_s : float
        Noise of a reading; size and memory of the bath's wander. [K], [K], [s]
    away : bool
        True where the lags stand off what is assumed and are the same in every loop.
    """

    name: str
    rate_k_per_min: float
    heater_lag_s: float
    lags: Lags
    white_k: float
    wander_k: float
    wander_s: float
    away: bool = False


def _usual(sender_s: float) -> Lags:
    return Lags(sender_s=sender_s, probe_s=PROBE_LAG_S, slope_per_k=LAG_SLOPE_PER_K, slow_share=SLOW_SHARE)


USUAL_CASES = (
    Case(
        name="kettle",
        rate_k_per_min=10.0,
        heater_lag_s=25.0,
        white_k=0.005,
        wander_k=0.015,
        wander_s=40.0,
        lags=_usual(8.0),
    ),
    Case(
        name="hotplate",
        rate_k_per_min=5.0,
        heater_lag_s=70.0,
        white_k=0.005,
        wander_k=0.020,
        wander_s=100.0,
        lags=_usual(15.0),
    ),
    Case(
        name="jug",
        rate_k_per_min=7.0,
        heater_lag_s=30.0,
        white_k=0.003,
        wander_k=0.010,
        wander_s=80.0,
        lags=_usual(25.0),
    ),
)


def _away(case: Case, words: str, lags: Lags) -> Case:
    return replace(case, name=f"{case.name}, {words}", lags=lags, away=True)


_KETTLE, _HOTPLATE, _JUG = USUAL_CASES
_PROBE_AWAY_S = PROBE_LAG_S + 2.0 * PROBE_LAG_U_S
_SLOPE_AWAY_PER_K = LAG_SLOPE_PER_K - 1.8 * LAG_SLOPE_U_PER_K
_SHARE_AWAY = SLOW_SHARE + 2.0 * SLOW_SHARE_U
AWAY_CASES = (
    _away(_KETTLE, "probe lag away", replace(_KETTLE.lags, probe_s=_PROBE_AWAY_S)),
    _away(_HOTPLATE, "slope away", replace(_HOTPLATE.lags, slope_per_k=_SLOPE_AWAY_PER_K)),
    _away(_JUG, "slow part away", replace(_JUG.lags, slow_share=_SHARE_AWAY)),
    _away(
        _JUG,
        "all away",
        replace(_JUG.lags, probe_s=_PROBE_AWAY_S, slope_per_k=_SLOPE_AWAY_PER_K, slow_share=_SHARE_AWAY),
    ),
)


def quiet_loop(case: Case) -> tuple[Array, Array]:
    """Reading times and the noiseless probe of one loop by the usual programme. [s], [°C]"""
    pauses = [*PAUSES_NEAR_C, np.inf]
    pause_s = pause_for_s(case.lags.sender_s)
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
    whole = len(times) - len(times) % TOGETHER
    return np.array(times[-whole:]), np.array(rows[-whole:])
