"""Steinhart and Hart's equation, as printed with most thermistors, and with its square term."""

import math
from dataclasses import dataclass

from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius
from calibration.thermistor.inverse_cubic import InverseCubic

# Where coefficients alone leave two branches, a sender of about this resistance is meant. [ln Ω]
_LOG_OF_A_USUAL_SENDER = math.log(1000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteinhartHart:
    """``1/T = a + b L + c L³`` with ``L = ln(R/Ω)`` [1]_.

    Attributes
    ----------
    a, b, c : float
        Coefficients for T in kelvin, 0 °C being 273.15 K. [1/K]

    References
    ----------
    .. [1] J. S. Steinhart and S. R. Hart, Deep-Sea Research 15 (1968) 497-503.
    """

    a: float
    b: float
    c: float

    @property
    def cubic(self) -> InverseCubic:
        """The same as a cubic."""
        return InverseCubic(c0=self.a, c1=self.b, c2=0.0, c3=self.c)

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the thermistor has ``resistance_ohm``. [°C]"""
        return celsius_from_kelvin(1.0 / self.cubic.inverse_k(math.log(resistance_ohm)))

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance at ``temperature_c``, by the closed root of the cubic. [Ω]"""
        inverse_k = 1.0 / kelvin_from_celsius(temperature_c)
        return math.exp(self.cubic.log_ohm(inverse_k, near=_LOG_OF_A_USUAL_SENDER))

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance, negative. [K/Ω]"""
        return _sensitivity_k_per_ohm(self.cubic, math.log(resistance_ohm), resistance_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteinhartHartSquare:
    """``1/T = a + b L + c L² + d L³`` with ``L = ln(R/reference)``.

    Attributes
    ----------
    a, b, c, d : float
        Coefficients for T in kelvin, 0 °C being 273.15 K. [1/K]
    reference_ohm : float
        What the resistance is divided by: 1 Ω, or R25 where a maker prints it so. [Ω]
    """

    a: float
    b: float
    c: float
    d: float
    reference_ohm: float = 1.0

    @property
    def cubic(self) -> InverseCubic:
        """The same as a cubic in ``ln(R/reference)``."""
        return InverseCubic(c0=self.a, c1=self.b, c2=self.c, c3=self.d)

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the thermistor has ``resistance_ohm``. [°C]"""
        return celsius_from_kelvin(1.0 / self.cubic.inverse_k(self._log_ratio(resistance_ohm)))

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance at ``temperature_c``, by the closed root of the cubic. [Ω]"""
        inverse_k = 1.0 / kelvin_from_celsius(temperature_c)
        near = 0.0 if self.reference_ohm != 1.0 else _LOG_OF_A_USUAL_SENDER
        return self.reference_ohm * math.exp(self.cubic.log_ohm(inverse_k, near=near))

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance, negative. [K/Ω]"""
        return _sensitivity_k_per_ohm(self.cubic, self._log_ratio(resistance_ohm), resistance_ohm)

    def _log_ratio(self, resistance_ohm: float) -> float:
        return math.log(resistance_ohm / self.reference_ohm)


def _sensitivity_k_per_ohm(cubic: InverseCubic, log_ohm: float, resistance_ohm: float) -> float:
    temperature_k = 1.0 / cubic.inverse_k(log_ohm)
    return -(temperature_k**2) * cubic.slope(log_ohm) / resistance_ohm
