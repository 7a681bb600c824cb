"""The curve of one thermistor: its models, and how they are fitted to points."""

from typing import Protocol


class ThermistorCurve(Protocol):
    """What every model of a thermistor answers, both ways consistently."""

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the thermistor has ``resistance_ohm``. [°C]"""
        ...

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance at ``temperature_c``. [Ω]"""
        ...

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance, negative. [K/Ω]"""
        ...
