"""Watches the readings of a loop: at rest, heater to be called off, pause over, top reached, closed.

How long a pause lasts follows from what the sender makes up in it: while the bath rises it stands behind the
probe by lag times rate, and in the pause it comes up to it. What it made up, over the rate, is its lag.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.bath.identifiability import (
    FASTEST_K_PER_MIN,
    LARGEST_START_SLOPE_K_PER_MIN,
    SHORTEST_PAUSE_S,
    SHORTEST_TOP_S,
    SLOWEST_K_PER_MIN,
)
from calibration.bath.loop_record import LONGEST_GAP_S
from calibration.bath.settling import SETTLING_WINDOW_S, slope_k_per_min
from calibration.bench_stand import BenchSetup
from calibration.contract.readings import ReadingPack
from calibration.curves import CurveError
from calibration.temperature_scale import kelvin_from_celsius
from host.procedures.event import Event
from host.procedures.sender.bath_reading import (
    UNREADABLE_S,
    UNREADABLE_WORDS,
    BathReading,
    UnusableReadingError,
    bath_reading_of,
)
from host.procedures.sender.heating_loop import RUNS_ON_K, HeaterRest, HeatingLoop, starts_below_c, top_c
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_state import SenderCheckState

#: A pause lasts so many of the lags that were seen: the fit needs four of the sender's own, and what is seen
#: on the way is a little off.
PAUSE_IN_LAGS_SEEN = 5.0

#: No pause lasts longer: what is as slow as that is checked on plateaus. [s]
LONGEST_PAUSE_S = 300.0

#: Lag of a usual contact probe in a stirred bath, as the fit of a loop has it to begin with. [s]
PROBE_LAG_S = 5.0

#: A heater counts as off once the bath rises at less than this share of its rate before. [1]
_OFF_SHARE = 0.4

#: A rate over its stretch shows so long after the heater went off that it did. [s]
_OFF_SEEN_AFTER_S = 25.0

# Rates are taken over this stretch, distances over the last few seconds of it. [s]
_RATE_OVER_S = SETTLING_WINDOW_S
_FEWEST_READINGS = 20
_HEATING_BEGINS_WITHIN_S = 90.0

# Beta of a usual coolant sender, where the curve says nothing: good enough for a lag. [K]
_USUAL_BETA_K = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopStatus:
    """What the step card says meanwhile.

    Attributes
    ----------
    probe_c : float or None
        Last good temperature of the bath. [°C]
    rate_k_per_min : float or None
        How fast it rises. [K/min]
    left_s : float or None
        Rig time until the pause or the top is over, as far as it can be told. [s]
    lag_s : float or None
        Lag of the sender, as this pause shows it. [s]
    trouble : str or None
        What is wrong with the last reading or with the heating.
    """

    probe_c: float | None = None
    rate_k_per_min: float | None = None
    left_s: float | None = None
    lag_s: float | None = None
    trouble: str | None = None


class LoopWatch:
    """Fed each reading in order; the same readings always lead to the same events.

    Its memory begins anew with each event, so that a desk that starts again from the log sees the same.

    Parameters
    ----------
    setup : BenchSetup
        Turns counts into temperatures.
    """

    def __init__(self, setup: BenchSetup) -> None:
        self._setup = setup
        self._recent: deque[BathReading] = deque()
        self._first_s: float | None = None
        self._last_good_s: float | None = None
        self._last_fast_s: float | None = None
        self.status = LoopStatus()

    def feed(self, state: SenderCheckState, pack: ReadingPack) -> Event | None:
        """Event that a reading leads to, or None."""
        if self._recent and self._recent[-1].pack.boot != pack.boot:
            self._forget()
        if self._first_s is None:
            self._first_s = self._last_good_s = pack.rig_time_s
        event = self._event_of(state, pack)
        if event is not None:
            self._forget()
        return event

    def _event_of(self, state: SenderCheckState, pack: ReadingPack) -> Event | None:
        loop = state.loop
        if loop is not None and loop.boot != pack.boot:
            return _given_up("the rig was started again, and what the bath did meanwhile is not known")
        try:
            reading = bath_reading_of(state, pack, self._setup)
        except UnusableReadingError as error:
            self.status = replace(self.status, trouble=str(error))
            return self._unreadable(loop, pack, str(error))
        gap = self._unreadable(loop, pack, "none came in")
        if gap is not None:
            return gap
        self._remember(reading)
        if loop is None:
            return self._feed_rest(state, reading)
        if not self._setup.probe.covers(reading.probe_c):
            return _given_up(
                f"the bath came to {reading.probe_c:.1f} °C, and the probe’s certificate covers "
                f"{self._setup.probe.valid_from_c:g} to {self._setup.probe.valid_to_c:g} °C"
            )
        if loop.resting is None:
            return self._feed_heating(state, loop, reading)
        return self._feed_pause(loop, loop.resting, reading)

    def _unreadable(self, loop: HeatingLoop | None, pack: ReadingPack, trouble: str) -> Event | None:
        assert self._last_good_s is not None
        gone_s = pack.rig_time_s - self._last_good_s
        if loop is not None and gone_s > LONGEST_GAP_S:
            return _given_up(f"for more than {LONGEST_GAP_S:g} s no reading could be used ({trouble})")
        if loop is None and gone_s > UNREADABLE_S:
            words = UNREADABLE_WORDS.format(minutes=UNREADABLE_S / 60.0, trouble=trouble)
            return Event(kind=Kind.STOPPED, payload={"reason": words})
        return None

    def _feed_rest(self, state: SenderCheckState, reading: BathReading) -> Event | None:
        """Wait until the bath rests, below the lowest set point and the first pause."""
        coldest_c = starts_below_c(state.started.set_points_c)
        rate = self._rate()
        is_cold = reading.probe_c <= coldest_c
        self.status = LoopStatus(
            probe_c=reading.probe_c,
            rate_k_per_min=rate,
            trouble=None if is_cold else _too_warm(reading.probe_c, coldest_c),
        )
        if rate is None or abs(rate) > LARGEST_START_SLOPE_K_PER_MIN or not is_cold:
            return None
        first = self._recent[0].pack
        payload = {"first": first.seq, "began_s": first.rig_time_s, "probe_c": reading.probe_c}
        return Event(kind=Kind.AT_REST, payload={**_mark(reading), **payload})

    def _feed_heating(self, state: SenderCheckState, loop: HeatingLoop, reading: BathReading) -> Event | None:
        rate = self._rate()
        self.status = LoopStatus(
            probe_c=reading.probe_c,
            rate_k_per_min=rate,
            trouble=_bad_rate(rate) if self._heats_long_enough(reading) else None,
        )
        pause_c = loop.next_pause_c
        off_at_c = top_c(state.started.set_points_c) if pause_c is None else pause_c
        if rate is None or reading.probe_c < off_at_c:
            return None
        probe_c, log_ohm = self._stands()
        payload = {"probe_c": probe_c, "log_ohm": log_ohm, "rate_k_per_min": rate}
        kind = Kind.TOP_REACHED if pause_c is None else Kind.HEATER_OFF_CALLED
        return Event(kind=kind, payload={**_mark(reading), **payload})

    def _heats_long_enough(self, reading: BathReading) -> bool:
        assert self._first_s is not None
        return reading.pack.rig_time_s - self._first_s > _HEATING_BEGINS_WITHIN_S

    def _feed_pause(self, loop: HeatingLoop, rest: HeaterRest, reading: BathReading) -> Event | None:
        """Wait until the bath has rested long enough, from when the heater truly went off."""
        rate = self._rate()
        is_off = rate is not None and rate <= _OFF_SHARE * rest.rate_k_per_min
        if rate is not None and not is_off:
            self._last_fast_s = reading.pack.rig_time_s
        off_s = max(rest.from_s, (self._last_fast_s or rest.from_s) - _OFF_SEEN_AFTER_S)
        gone_s = reading.pack.rig_time_s - off_s
        ran_on_k = reading.probe_c - rest.at_c
        lag_s = self._lag_s(rest)
        length_s = SHORTEST_TOP_S if loop.is_at_top else pause_s(lag_s)
        self.status = LoopStatus(
            probe_c=reading.probe_c,
            rate_k_per_min=rate,
            left_s=max(length_s - gone_s, 0.0),
            lag_s=lag_s,
            trouble=None if is_off or ran_on_k < RUNS_ON_K else _still_heating(rate),
        )
        if gone_s < length_s or not is_off:
            return None
        if not loop.is_at_top:
            return Event(kind=Kind.PAUSE_OVER, payload={**_mark(reading), "lag_s": lag_s})
        pack = reading.pack
        readings = {"station": pack.station, "boot": pack.boot, "from": loop.first, "to": pack.seq}
        return Event(kind=Kind.LOOP_CLOSED, payload={"readings": readings, "end_s": pack.rig_time_s})

    def _lag_s(self, rest: HeaterRest) -> float:
        """Lag of the sender, from what it has made up on the probe since the heater was called off. [s]"""
        probe_c, log_ohm = self._stands()
        made_up_k = (rest.log_ohm - log_ohm) * self._kelvin_per_log(0.5 * (rest.at_c + probe_c))
        made_up_k -= probe_c - rest.at_c
        return PROBE_LAG_S + max(made_up_k, 0.0) / (rest.rate_k_per_min / 60.0)

    def _kelvin_per_log(self, at_c: float) -> float:
        """How far a sender of that curve rises while its resistance falls by a factor of e. [K]"""
        try:
            colder, warmer = (self._setup.curve.resistance_ohm(at_c + step_k) for step_k in (-0.5, 0.5))
        except CurveError:
            return kelvin_from_celsius(at_c) ** 2 / _USUAL_BETA_K
        return 1.0 / math.log(colder / warmer)

    def _stands(self) -> tuple[float, float]:
        """Bath and logarithm of the sender, means of the last few seconds. [°C], [1]"""
        last = list(self._recent)[-_FEWEST_READINGS:]
        return (
            _mean([reading.probe_c for reading in last]),
            _mean([math.log(reading.sender_ohm) for reading in last]),
        )

    def _remember(self, reading: BathReading) -> None:
        self._last_good_s = reading.pack.rig_time_s
        self._recent.append(reading)
        while reading.pack.rig_time_s - self._recent[0].pack.rig_time_s > _RATE_OVER_S:
            self._recent.popleft()

    def _rate(self) -> float | None:
        """How fast the bath rises; None while too little of it has been seen. [K/min]"""
        times = [reading.pack.rig_time_s for reading in self._recent]
        if len(times) < _FEWEST_READINGS or times[-1] - times[0] < 0.9 * _RATE_OVER_S:
            return None
        return slope_k_per_min(times, [reading.probe_c for reading in self._recent])

    def _forget(self) -> None:
        self._recent.clear()
        self._first_s = self._last_good_s = self._last_fast_s = None
        self.status = LoopStatus(probe_c=self.status.probe_c)


def pause_s(lag_s: float) -> float:
    """How long the heater rests for a sender of that lag. [s]"""
    return min(max(SHORTEST_PAUSE_S, PAUSE_IN_LAGS_SEEN * lag_s), LONGEST_PAUSE_S)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _mark(reading: BathReading) -> dict[str, object]:
    pack = reading.pack
    return {"boot": pack.boot, "seq": pack.seq, "rig_time_s": pack.rig_time_s}


def _given_up(reason: str) -> Event:
    words = (
        f"The loop was given up: {reason}. Heater off. Start again with the same settings on plateaus, which "
        "bear an interruption, or run the loop once more from cold water."
    )
    return Event(kind=Kind.STOPPED, payload={"reason": words})


def _too_warm(probe_c: float, coldest_c: float) -> str:
    return (
        f"The bath stands at {probe_c:.1f} °C, and a loop starts from rest below "
        f"{coldest_c:g} °C. Pour in cold water, stir, and wait."
    )


def _bad_rate(rate: float | None) -> str | None:
    if rate is None or SLOWEST_K_PER_MIN <= rate <= FASTEST_K_PER_MIN:
        return None
    if rate > FASTEST_K_PER_MIN:
        return (
            f"The bath rises at {rate:.1f} K/min, and a loop bears {FASTEST_K_PER_MIN:g}. Take more water or "
            "less power."
        )
    return (
        f"The bath rises at {rate:.1f} K/min, and a loop wants {SLOWEST_K_PER_MIN:g} or more. Is the heater "
        "on, and at full power?"
    )


def _still_heating(rate: float | None) -> str:
    rises = "rises still" if rate is None else f"still rises at {rate:.1f} K/min"
    return f"The bath {rises}: switch the heater off. The rest counts from then on."
