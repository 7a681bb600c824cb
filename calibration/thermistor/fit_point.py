"""One measured point of a sender: a temperature and the resistance there."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FitPoint:
    """A pair of readings, with standard uncertainties where they are known.

    Attributes
    ----------
    temperature_c : float
        True temperature of the sender. [°C]
    resistance_ohm : float
        Its resistance there. [Ω]
    u_temperature_k : float or None
        Standard uncertainty; None where unknown. [K]
    u_resistance_ohm : float or None
        Standard uncertainty; None where unknown. [Ω]
    """

    temperature_c: float
    resistance_ohm: float
    u_temperature_k: float | None = None
    u_resistance_ohm: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no sender can have."""
        if not (math.isfinite(self.temperature_c) and self.temperature_c > -273.15):
            raise ValueError(f"{self.temperature_c} °C is no temperature.")
        if not (math.isfinite(self.resistance_ohm) and self.resistance_ohm > 0.0):
            raise ValueError(f"{self.resistance_ohm} Ω is no resistance of a sender.")
        for u in (self.u_temperature_k, self.u_resistance_ohm):
            if u is not None and not (math.isfinite(u) and u > 0.0):
                raise ValueError(f"{u} is no standard uncertainty: it must be above zero, or unknown.")

    @property
    def knows_its_uncertainty(self) -> bool:
        """Whether at least one of the two uncertainties is known."""
        return self.u_temperature_k is not None or self.u_resistance_ohm is not None
