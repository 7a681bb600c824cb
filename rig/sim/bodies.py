"""What hangs in the bath, or looks at it: probe, sender, witness, infrared target. Each lags and errs."""

import math
from dataclasses import dataclass

import numpy as np

GRADIENT_SD_K = 0.011
GRADIENT_TAU_S = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyParameters:
    """Lags and errors of what shares the bath with the sender; drawn once."""

    probe_tau_s: float
    probe_dissipation_w_per_k: float
    witness_tau_s: float
    witness_offset_k: float
    gradient_steady_k: float
    target_loss: float
    target_emissivity: float
    infrared_offset_k: float
    infrared_noise_k: float
    body_above_room_k: float

    @classmethod
    def draw(cls, chance: np.random.Generator) -> "BodyParameters":
        """Draw them. The witness is within ±0.5 K as bought; the target is a little colder than the water."""
        return cls(
            probe_tau_s=chance.uniform(3.5, 4.5),
            probe_dissipation_w_per_k=chance.uniform(6e-3, 12e-3),
            witness_tau_s=chance.uniform(13.0, 17.0),
            witness_offset_k=chance.uniform(-0.45, 0.45),
            gradient_steady_k=chance.uniform(-0.01, 0.01),
            target_loss=chance.uniform(0.004, 0.015),
            target_emissivity=chance.uniform(0.935, 0.965),
            infrared_offset_k=chance.uniform(-0.4, 0.4),
            infrared_noise_k=0.06,
            body_above_room_k=chance.uniform(1.0, 3.0),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderParameters:
    """One sender from the tray: its element's spread, its thermal habits.

    Attributes
    ----------
    stem_fraction : float
        Share of (t - room) that leaks up the stem with the hex under water. [1]
    stem_decay_mm : float
        Depth over which that share falls to 1/e, as along a fin. [mm]
    """

    r25_factor: float
    beta_factor: float
    tau_s: float
    dissipation_w_per_k: float
    stem_fraction: float
    stem_decay_mm: float = 14.0  # in the middle of the draw, for a world put away before there was one

    @classmethod
    def draw(
        cls, chance: np.random.Generator, *, r25_spread: float, beta_spread: float
    ) -> "SenderParameters":
        """Draw one; hex under water with a boot, so that 0 to 0.3 % of (t - room) leaks up the stem."""
        return cls(
            r25_factor=1.0 + chance.uniform(-r25_spread, r25_spread),
            beta_factor=1.0 + chance.uniform(-beta_spread, beta_spread),
            tau_s=chance.uniform(10.0, 15.0),
            dissipation_w_per_k=chance.uniform(6e-3, 12e-3),
            stem_fraction=chance.uniform(0.0, 0.003),
            stem_decay_mm=chance.uniform(10.0, 18.0),
        )

    def stem_at(self, drawn_out_mm: float) -> float:
        """Share of (t - room) that leaks up the stem, drawn out from its working depth. [1]"""
        return self.stem_fraction * math.exp(drawn_out_mm / self.stem_decay_mm)


@dataclass(slots=True, kw_only=True)
class BodyState:
    """Temperatures of the bodies, and the wandering gradient between probe and sender. [°C, K]"""

    probe_c: float
    sender_c: float
    witness_c: float
    gradient_k: float = 0.0
    sender_slow_c: float | None = None  # the hex behind the element, where a sender has two bodies


def relax(value: float, towards: float, dt_s: float, tau_s: float) -> float:
    """First-order lag over one step, exact for a constant target."""
    return towards + (value - towards) * math.exp(-dt_s / tau_s)


def mixed_c(first_c: float, second_c: float, share: float) -> float:
    """What a view shows that a second surface fills by a share: fourth powers add. [°C]"""
    mixed = (1.0 - share) * (first_c + 273.15) ** 4 + share * (second_c + 273.15) ** 4
    return float(mixed**0.25 - 273.15)


def wander_gradient(gradient_k: float, dt_s: float, normal: float) -> float:
    """One step of the gradient's wandering: stays within about ±0.03 K. [K]"""
    share = dt_s / GRADIENT_TAU_S
    return gradient_k * (1.0 - share) + GRADIENT_SD_K * math.sqrt(2.0 * share) * normal


def seen_by_infrared_c(*, target_c: float, body_c: float, emissivity: float, cell: float) -> float:
    """What the sensor makes of a target: fourth powers, its own body as surroundings.

    e·S(t_target) + (1 - e)·S(t_body) = cell·S(t_shown) + (1 - cell)·S(t_body), with S ~ T⁴ (from memory of
    the sensor's data sheet; its band is wide).
    """
    target, body = (target_c + 273.15) ** 4, (body_c + 273.15) ** 4
    shown = (emissivity * target + (cell - emissivity) * body) / cell
    return float(max(shown, 0.0) ** 0.25 - 273.15)
