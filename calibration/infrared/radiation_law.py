"""What an infrared thermometer's signal does with temperature."""

from dataclasses import dataclass
from typing import Protocol

from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import within_span
from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius

#: CODATA 2018. [W / (m² K⁴)]
STEFAN_BOLTZMANN = 5.670374419e-8


class RadiationLaw(Protocol):
    """Signal of a black body against its temperature: a Planck band, or something that stands for one."""

    def signal(self, temperature_c: float) -> float:
        """Signal. [any unit, the same throughout]"""
        ...

    def slope_per_k(self, temperature_c: float) -> float:
        """Change of the signal with temperature. [unit / K]"""
        ...

    def temperature_c(self, signal: float) -> float:
        """Temperature that gives a signal. [°C]"""
        ...


@dataclass(frozen=True, slots=True)
class FourthPower:
    """All wavelengths: exitance by the Stefan-Boltzmann law. [W/m²]"""

    def signal(self, temperature_c: float) -> float:
        """Exitance. [W/m²]"""
        return STEFAN_BOLTZMANN * kelvin_from_celsius(within_span(temperature_c)) ** 4

    def slope_per_k(self, temperature_c: float) -> float:
        """Change of the exitance with temperature. [W / (m² K)]"""
        return 4.0 * STEFAN_BOLTZMANN * kelvin_from_celsius(within_span(temperature_c)) ** 3

    def temperature_c(self, signal: float) -> float:
        """Temperature that gives an exitance. [°C]

        Raises
        ------
        InfraredError
            If the exitance is not positive.
        """
        if not signal > 0.0:
            raise InfraredError(
                "Nothing would be left to radiate: look again at the emissivities and at the surroundings."
            )
        return within_span(celsius_from_kelvin(float(signal / STEFAN_BOLTZMANN) ** 0.25))
