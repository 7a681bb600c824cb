"""How much the water differs between probe and sender: found by changing their places once.

With the sender at place A it reads ``e + g``, with the places changed ``e - g``: e its error, g the water at
A minus the water at B. Half the sum is free of the gradient, half the difference is the gradient.
"""

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError

#: How far the difference between two places may wander from one minute to the next, beyond what shows in a
#: minute: half-width, assumed. Benchmark and simulation draw wanders of 5 to 25 mK (standard deviation) that
#: last 30 to 150 s; not measured on metal. [K]
WANDER_BETWEEN_K = 0.025

#: A difference counts as found beyond so many standard uncertainties.
FOUND_AT = 2.0

#: A bath this little above the air is taken to be as much above it. [K]
LEAST_SPAN_K = 1.0

#: More is no bath to calibrate in. [K]
LARGEST_GRADIENT_K = 0.5


class GradientError(CalibrationError):
    """A bath too uneven for a result."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedReading:
    """Indicated minus probe with the two at given places, and its standard uncertainty. [K]

    The uncertainty is that of scatter and of `WANDER_BETWEEN_K` alone: probe, box and curve are the same at
    both places.
    """

    error_k: float
    standard_u_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredGradient:
    """What changing places told.

    Attributes
    ----------
    difference_k, standard_u_k : float
        Water at the sender's first place minus water at the probe's, at that plateau. [K]
    free_error_k : float
        The sender's error at that plateau with the gradient taken out; its standard uncertainty by scatter
        is the same. [K]
    seen_at_c, air_c : float
        Of that plateau, and of the air beside the bath. [°C]
    """

    difference_k: float
    standard_u_k: float
    free_error_k: float
    seen_at_c: float
    air_c: float

    @property
    def is_found(self) -> bool:
        """Whether there is more than a chance difference."""
        return abs(self.difference_k) > FOUND_AT * self.standard_u_k

    def correction_k(self, temperature_c: float, air_c: float) -> float:
        """What to add to an error read at the first places. [K]

        A difference that was found once, at one temperature, is either the same at every temperature (a place
        nearer to the heater) or goes with the bath above the air (heat lost at a wall): the correction is the
        middle of the two. One that was not found is not corrected for.
        """
        return -0.5 * (1.0 + self._share(temperature_c, air_c)) * self.difference_k if self.is_found else 0.0

    def half_width_k(self, temperature_c: float, air_c: float) -> float:
        """Half-width of the budget's gradient line. [K]

        What the correction leaves open, or all that was seen where nothing is corrected, lest a chance zero
        promise an even bath; and two standard uncertainties of what was seen and of a minute's wander, for no
        plateau was read in the same minute.
        """
        left_k = abs(self.difference_k)
        if self.is_found:
            left_k *= 0.5 * abs(1.0 - self._share(temperature_c, air_c))
        return left_k + FOUND_AT * math.hypot(self.standard_u_k, WANDER_BETWEEN_K / math.sqrt(3.0))

    def _share(self, temperature_c: float, air_c: float) -> float:
        """Share of the bath's height above the air where it was seen. [1]"""
        return (temperature_c - air_c) / max(self.seen_at_c - self.air_c, LEAST_SPAN_K)


def gradient_from_swap(
    before: PlacedReading, after: PlacedReading, *, temperature_c: float, air_c: float
) -> MeasuredGradient:
    """Gradient between the two places.

    Parameters
    ----------
    before, after : PlacedReading
        At one plateau, before and after probe and sender changed places.
    temperature_c, air_c : float
        Of that plateau, and of the air beside the bath. [°C]

    Raises
    ------
    GradientError
        If the water differs more than a bath may.
    """
    gradient = MeasuredGradient(
        difference_k=0.5 * (before.error_k - after.error_k),
        standard_u_k=0.5 * math.hypot(before.standard_u_k, after.standard_u_k),
        free_error_k=0.5 * (before.error_k + after.error_k),
        seen_at_c=temperature_c,
        air_c=air_c,
    )
    if abs(gradient.difference_k) > LARGEST_GRADIENT_K:
        raise GradientError(
            f"The water differs by {abs(gradient.difference_k):.2f} K between probe and sender; "
            f"{LARGEST_GRADIENT_K:g} K is the most. Stir, bring the two nearer, and keep both 20 mm or more "
            "from wall and heater."
        )
    return gradient
