"""The neighbourhood of one printed row, by the slope there."""

import math
from dataclasses import dataclass
from typing import ClassVar

from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius


@dataclass(frozen=True, slots=True, kw_only=True)
class RowSlope:
    """A beta curve through one row; all that two or three rows can say of its neighbourhood.

    Attributes
    ----------
    temperature_c, resistance_ohm : float
        Of the row. [°C], [Ω]
    beta_k : float
        Slope of ``ln R`` over ``1/T`` there. [K]
    next_row_k : float
        Distance to the neighbouring row, the farther of two. [K]
    """

    #: Half-width of the slope's relative error for each kelvin to the next row. The rows 20 and 80, 20
    #: and 100, 15 and 128 or -40 and 130 °C alone, taken from the 18-row table `ntc-2k5-20c`, give
    #: slopes up to 0.04, 0.05, 0.06 and 0.08 % per kelvin off the full table's.
    DOUBT_PER_KELVIN: ClassVar[float] = 0.0008

    temperature_c: float
    resistance_ohm: float
    beta_k: float
    next_row_k: float

    @property
    def relative_doubt(self) -> float:
        """Half-width of the slope's relative error."""
        return self.DOUBT_PER_KELVIN * self.next_row_k

    def temperature_c_of(self, resistance_ohm: float) -> float:
        """Temperature at which the slope leads to ``resistance_ohm``; infinite where to none. [°C]"""
        inverse_k = 1.0 / kelvin_from_celsius(self.temperature_c)
        inverse_k += math.log(resistance_ohm / self.resistance_ohm) / self.beta_k
        return celsius_from_kelvin(1.0 / inverse_k) if inverse_k > 0.0 else math.inf

    def carried_ohm(self, resistance_ohm: float, temperature_c: float) -> float:
        """Resistance at ``temperature_c`` of what has ``resistance_ohm`` at the row. [Ω]"""
        if temperature_c == self.temperature_c:
            return resistance_ohm
        away = 1.0 / kelvin_from_celsius(temperature_c) - 1.0 / kelvin_from_celsius(self.temperature_c)
        return resistance_ohm * math.exp(self.beta_k * away)
