"""Warming of a thermistor by the current that reads it (IEC 60539-1: dissipation factor)."""

from dataclasses import dataclass

from calibration.resistance.excitation import Excitation


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
