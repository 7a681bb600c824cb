"""The beta equation: the two-number curve printed on every thermistor's bag."""

import math
from dataclasses import dataclass

from calibration.errors import CurveError
from calibration.temperature_scale import ZERO_CELSIUS_K, celsius_from_kelvin, kelvin_from_celsius

#: The temperature at which the nominal resistance is stated (IEC 60539-1). [K]
REFERENCE_K = 25.0 + ZERO_CELSIUS_K


@dataclass(frozen=True, slots=True, kw_only=True)
class BetaCurve:
    """``R = R25 exp(beta (1/T - 1/T25))`` [1]_.

    Attributes
    ----------
    r25_ohm : float
        Resistance at 25 °C. [Ω]
    beta_k : float
        Material constant. [K]

    References
    ----------
    .. [1] IEC 60539-1, definition of the B-value.
    """

    r25_ohm: float
    beta_k: float

    def __post_init__(self) -> None:
        """Refuse what is not an NTC thermistor."""
        if not (self.r25_ohm > 0.0 and self.beta_k > 0.0):
            raise CurveError(
                f"R25 = {self.r25_ohm:g} Ω with beta = {self.beta_k:g} K is not an NTC thermistor: "
                "both must be above zero. Check the points or the curve."
            )

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the thermistor has ``resistance_ohm``. [°C]"""
        inverse_k = 1.0 / REFERENCE_K + math.log(resistance_ohm / self.r25_ohm) / self.beta_k
        return celsius_from_kelvin(1.0 / inverse_k)

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance at ``temperature_c``. [Ω]"""
        inverse_k = 1.0 / kelvin_from_celsius(temperature_c)
        return self.r25_ohm * math.exp(self.beta_k * (inverse_k - 1.0 / REFERENCE_K))

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance, negative. [K/Ω]"""
        temperature_k = kelvin_from_celsius(self.temperature_c(resistance_ohm))
        return -(temperature_k**2) / (self.beta_k * resistance_ohm)
