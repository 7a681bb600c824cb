"""The bath: 1.5 litres in an insulated jug, stirred, with a thermostatic immersion heater, in a room."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

THERMOSTAT_PERIOD_S = 1.0
# The thermostat shows and uses steps of this size: one cause of its hunting.
THERMOSTAT_STEP_K = 0.1
# Its integral rests while the bath is further away than this, or it would wind up.
THERMOSTAT_INTEGRAL_WITHIN_K = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class BathParameters:
    """What the jug, the heater and the room are like; drawn once."""

    capacity_j_per_k: float
    loss_w_per_k: float
    evaporation_w_per_pa: float
    boiling_c: float
    heater_w: float
    element_tau_s: float
    thermostat_tau_s: float
    thermostat_offset_k: float
    thermostat_band_k: float
    thermostat_integral_s: float
    thermostat_foresight_s: float
    room_mean_c: float
    room_sd_k: float
    room_tau_s: float

    @classmethod
    def draw(cls, chance: np.random.Generator) -> "BathParameters":
        """Draw one bath: water and jug, losses of an insulated jug with a loose lid."""
        return cls(
            capacity_j_per_k=chance.uniform(6300.0, 6800.0),
            loss_w_per_k=chance.uniform(0.8, 1.5),
            evaporation_w_per_pa=chance.uniform(3e-4, 8e-4),
            boiling_c=chance.uniform(99.4, 100.2),
            heater_w=chance.uniform(870.0, 930.0),
            element_tau_s=chance.uniform(5.0, 9.0),
            thermostat_tau_s=chance.uniform(3.0, 5.0),
            thermostat_offset_k=chance.uniform(-0.3, 0.3),
            thermostat_band_k=chance.uniform(3.0, 4.5),
            thermostat_integral_s=chance.uniform(100.0, 150.0),
            thermostat_foresight_s=chance.uniform(13.0, 17.0),
            room_mean_c=chance.uniform(21.0, 23.5),
            room_sd_k=0.3,
            room_tau_s=1800.0,
        )


@dataclass(slots=True, kw_only=True)
class BathState:
    """What changes from second to second."""

    bath_c: float
    room_c: float
    element_w: float = 0.0
    thermostat_c: float = 22.0
    thermostat_integral: float = 0.0
    thermostat_share: float = 0.0
    since_thermostat_s: float = 0.0
    set_c: float | None = None
    has_ice: bool = False  # a slush is at 0 °C while there is ice in it, and somebody sees to that


def vapour_pressure_pa(temperature_c: float) -> float:
    """Saturation pressure of water, Magnus form; good to three per cent, enough for a loss. [Pa]"""
    return 611.2 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


class Bath:
    """Integrates the bath in small steps."""

    def __init__(self, *, parameters: BathParameters, state: BathState, wander: Iterator[float]) -> None:
        self.parameters = parameters
        self.state = state
        self._wander = wander

    def set_heater(self, temperature_c: float | None) -> None:
        """Set the thermostat, or switch the heater off with None. [°C]"""
        state = self.state
        state.set_c = temperature_c
        state.thermostat_share = 0.0
        state.thermostat_integral = 0.0
        if temperature_c is not None:
            # The thermostat begins from a guess of the holding power, as such things do.
            holding_w = self._loss_w(temperature_c) * 0.9
            state.thermostat_integral = holding_w / self.parameters.heater_w

    def step(self, dt_s: float) -> None:
        """Advance by ``dt_s``, at most a second or so. [s]"""
        parameters, state = self.parameters, self.state
        self._room(dt_s)
        self._thermostat(dt_s)
        wanted_w = state.thermostat_share * parameters.heater_w
        state.element_w += (wanted_w - state.element_w) * -math.expm1(-dt_s / parameters.element_tau_s)
        net_w = state.element_w - self._loss_w(state.bath_c)
        if state.has_ice:
            state.bath_c = 0.0
            return
        state.bath_c = min(state.bath_c + net_w * dt_s / parameters.capacity_j_per_k, parameters.boiling_c)

    def _loss_w(self, bath_c: float) -> float:
        """Through the wall, and by evaporation, which rises steeply with temperature. [W]"""
        room_c = self.state.room_c
        vapour_pa = vapour_pressure_pa(bath_c) - 0.5 * vapour_pressure_pa(room_c)
        return self.parameters.loss_w_per_k * (bath_c - room_c) + self.parameters.evaporation_w_per_pa * max(
            0.0, vapour_pa
        )

    def _room(self, dt_s: float) -> None:
        parameters, state = self.parameters, self.state
        share = dt_s / parameters.room_tau_s
        state.room_c += (parameters.room_mean_c - state.room_c) * share
        state.room_c += parameters.room_sd_k * math.sqrt(2.0 * share) * next(self._wander)

    def _thermostat(self, dt_s: float) -> None:
        """Proportional, integral, some foresight; its sensor lags, is a little off, and reads in steps."""
        parameters, state = self.parameters, self.state
        sensed_c = state.bath_c + parameters.thermostat_offset_k
        state.thermostat_c += (sensed_c - state.thermostat_c) * -math.expm1(
            -dt_s / parameters.thermostat_tau_s
        )
        state.since_thermostat_s += dt_s
        if state.set_c is None or state.since_thermostat_s < THERMOSTAT_PERIOD_S - 1e-9:
            return
        rate_k_per_s = (sensed_c - state.thermostat_c) / parameters.thermostat_tau_s
        ahead_c = state.thermostat_c + rate_k_per_s * parameters.thermostat_foresight_s
        shown_c = round(ahead_c / THERMOSTAT_STEP_K) * THERMOSTAT_STEP_K
        error_k = state.set_c - shown_c
        wanted = error_k / parameters.thermostat_band_k + state.thermostat_integral
        state.thermostat_share = min(1.0, max(0.0, wanted))
        if abs(error_k) < THERMOSTAT_INTEGRAL_WITHIN_K:
            state.thermostat_integral += (
                error_k
                / parameters.thermostat_band_k
                * state.since_thermostat_s
                / parameters.thermostat_integral_s
            )
        state.since_thermostat_s = 0.0
