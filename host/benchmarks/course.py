"""The bath's course in time, many benches at once: heater with its lag, water, probe and sender that follow.

A course is integrated in steps of a reading. What heats is a programme: it sees what the desk sees, the
probe and the sender, and says how much of the heater is on.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from host.benchmarks.electronics import heat_k, sender_range
from host.benchmarks.world import PROBE_RANGE_OHM, Array, Benches

#: Time between readings. [s]
STEP_S = 0.25

START_C = 25.0
_SWIRL_S = 3.0
_LAGS_AT_C = 60.0
# Self-heating changes slowly; so often is it worked out anew. [steps]
_HEAT_EVERY = 20


class Programme(Protocol):
    """Decides on the heaters, and when each bench is done."""

    def heat(self, time_s: float, seen: "Seen") -> Array:
        """Share of each heater that is on, 0 to 1; shape (k,)."""
        ...

    @property
    def done(self) -> NDArray[np.bool_]:
        """Which benches have come to their end; shape (k,)."""
        ...


@dataclass(slots=True, kw_only=True)
class Seen:
    """What a desk sees at one moment; shape (k,). [°C]"""

    probe_c: Array
    sender_c: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What happened.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        [s]
    element_c, probe_c : ndarray, shape (k, n)
        Temperatures of the sender's element and of the probe's. [°C]
    """

    time_s: Array
    element_c: Array
    probe_c: Array


class _Bath:
    """State of k benches."""

    def __init__(self, benches: Benches, chance: np.random.Generator) -> None:
        self.benches = benches
        self.chance = chance
        count = benches.count
        self.water_c = np.full(count, START_C)
        self.element_share = np.zeros(count)
        self.wander = benches.wander_k * chance.standard_normal(count)
        self.swirl = np.zeros(count)
        self.probe_heat_k = heat_k(benches.probe_ohm(self.water_c), PROBE_RANGE_OHM, benches.probe_w_per_k)
        self.sender_heat_k = self._sender_heat(self.water_c)
        self.probe_c = self.water_c + self.probe_heat_k
        self.body_c = self._at_sender(np.zeros(count))
        self.slow_c = self.body_c.copy()

    @property
    def element_c(self) -> Array:
        """Temperature of the sender's element: most of it the body's, a part a slower one's. [°C]"""
        share = self.benches.body_share
        mixed: Array = (1.0 - share) * self.body_c + share * self.slow_c
        return mixed

    def step(self, heater: Array, count: int) -> None:
        """Advance by one reading."""
        benches = self.benches
        self.element_share += (heater - self.element_share) * -np.expm1(-STEP_S / benches.heater_lag_s)
        slope = (
            benches.rate_k_per_min / 60.0 * self.element_share
            - benches.loss_per_s * (self.water_c - benches.air_c) * self._evaporation()
        )
        self.water_c = self.water_c + slope * STEP_S
        noise = self.chance.standard_normal((2, benches.count))
        self.wander += -self.wander * STEP_S / benches.wander_s
        self.wander += benches.wander_k * np.sqrt(2.0 * STEP_S / benches.wander_s) * noise[0]
        self.swirl += -self.swirl * STEP_S / _SWIRL_S
        self.swirl += benches.swirl_k * self.element_share * np.sqrt(2.0 * STEP_S / _SWIRL_S) * noise[1]
        if count % _HEAT_EVERY == 0:
            self.probe_heat_k = heat_k(
                benches.probe_ohm(self.water_c), PROBE_RANGE_OHM, benches.probe_w_per_k
            )
            self.sender_heat_k = self._sender_heat(self.water_c)
        at_sender_c = self._at_sender(slope)
        away_k = self.water_c - _LAGS_AT_C
        lag_s = benches.sender_lag_s * (1.0 + benches.sender_lag_slope_per_k * away_k)
        probe_lag_s = benches.probe_lag_s * (1.0 + benches.probe_lag_slope_per_k * away_k)
        self.body_c += (at_sender_c - self.body_c) * -np.expm1(-STEP_S / lag_s)
        self.slow_c += (at_sender_c - self.slow_c) * -np.expm1(-STEP_S / (lag_s * benches.body_lag_factor))
        self.probe_c += (self.water_c + self.probe_heat_k - self.probe_c) * -np.expm1(-STEP_S / probe_lag_s)

    def _at_sender(self, slope: Array) -> Array:
        benches = self.benches
        here = self.water_c + benches.gradient_k + benches.gradient_s * slope + self.wander + self.swirl
        stands: Array = here - benches.stem_k(here) + self.sender_heat_k
        return stands

    def _evaporation(self) -> Array:
        """Losses rise steeply towards boiling: by a factor of about three over the range."""
        return 1.0 + 2.0 * np.clip((self.water_c - 40.0) / 55.0, 0.0, None) ** 2

    def _sender_heat(self, temperature_c: Array) -> Array:
        ohm = self.benches.sender_ohm(temperature_c)
        return heat_k(ohm, sender_range(ohm), self.benches.sender_w_per_k)


def course(
    benches: Benches, programme: Programme, *, longest_s: float, chance: np.random.Generator
) -> Course:
    """Run a programme on every bench until all are done.

    Parameters
    ----------
    benches : Benches
    programme : Programme
    longest_s : float
        Where to stop at the latest. [s]
    chance : numpy.random.Generator
    """
    bath = _Bath(benches, chance)
    steps = int(longest_s / STEP_S)
    element_c = np.empty((steps, benches.count))
    probe_c = np.empty((steps, benches.count))
    done = 0
    for step in range(steps):
        seen = Seen(probe_c=bath.probe_c - bath.probe_heat_k, sender_c=bath.element_c)
        bath.step(programme.heat(step * STEP_S, seen), step)
        element_c[step], probe_c[step] = bath.element_c, bath.probe_c
        done = step + 1
        if programme.done.all():
            break
    return Course(
        time_s=STEP_S * np.arange(1.0, done + 1.0, dtype=np.float64),
        element_c=element_c[:done].T.copy(),
        probe_c=probe_c[:done].T.copy(),
    )
