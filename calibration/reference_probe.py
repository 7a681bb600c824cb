"""The reference probe as its own certificate gives it."""

from dataclasses import dataclass

from calibration.thermistor.steinhart_hart import SteinhartHart


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceProbe:
    """A certified thermistor probe.

    Attributes
    ----------
    curve : SteinhartHart
        Coefficients of its certificate.
    expanded_u_k : float
        Expanded uncertainty of its certificate. [K]
    k : float
        Coverage factor of that.
    valid_from_c, valid_to_c : float
        Range of its certificate. [°C]
    """

    curve: SteinhartHart
    expanded_u_k: float
    k: float
    valid_from_c: float
    valid_to_c: float

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature of the probe. [°C]"""
        return self.curve.temperature_c(resistance_ohm)

    def standard_u_k(self) -> float:
        """Standard uncertainty of its certificate. [K]"""
        return self.expanded_u_k / self.k

    def covers(self, temperature_c: float) -> bool:
        """Tell whether the certificate covers a temperature."""
        return self.valid_from_c <= temperature_c <= self.valid_to_c
