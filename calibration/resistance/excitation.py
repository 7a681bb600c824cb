"""How a device under test is excited: what current flows through it, and what heat that makes."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Excitation:
    """How a device is excited.

    Attributes
    ----------
    source_v : float
        Excitation. [V]
    series_ohm : float
        Everything in series but the device: ballast, reference, lift. [Ω]
    duty : float
        Share of the time it is on, 0 to 1.
    """

    source_v: float
    series_ohm: float
    duty: float

    def current_a(self, resistance_ohm: float) -> float:
        """Current while it is on. [A]"""
        return self.source_v / (self.series_ohm + resistance_ohm)

    def mean_power_w(self, resistance_ohm: float) -> float:
        """Power in the device, averaged over the duty. [W]"""
        return self.current_a(resistance_ohm) ** 2 * resistance_ohm * self.duty
