"""Warming of a thermistor by the current that reads it (IEC 60539-1: dissipation factor)."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfHeating:
    """How far the device stands above its surroundings: best estimate and half-width. [K]"""

    rise_k: float
    half_width_k: float


def self_heating(
    excitation: Excitation, resistance_ohm: float, *, lowest_w_per_k: float, highest_w_per_k: float
) -> SelfHeating:
    """Self-heating where the dissipation factor is only known to lie in a span.

    Parameters
    ----------
    lowest_w_per_k, highest_w_per_k : float
        Span of the dissipation factor in stirred water. [W/K]

    Raises
    ------
    ValueError
        If the span is not positive and ordered.
    """
    if not 0.0 < lowest_w_per_k <= highest_w_per_k:
        raise ValueError("The dissipation factor runs from a positive number to one not below it.")
    power_w = excitation.mean_power_w(resistance_ohm)
    most_k, least_k = power_w / lowest_w_per_k, power_w / highest_w_per_k
    return SelfHeating(rise_k=(most_k + least_k) / 2.0, half_width_k=(most_k - least_k) / 2.0)
