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
    """

    difference_k: float
    standard_u_k: float
    free_error_k: float

    @property
    def correction_k(self) -> float:
        """What to add to an error read at the first places, at that plateau. [K]"""
        return -self.difference_k

    @property
    def half_width_k(self) -> float:
        """Half-width of the budget's gradient line, for every plateau and with no correction. [K]

        The gradient was seen once and at one temperature, so that it is not corrected for: its line
        reaches as far as was seen and by two standard uncertainties further, lest a chance zero promise
        an even bath.
        """
        return abs(self.difference_k) + 2.0 * self.standard_u_k


def gradient_from_swap(before: PlacedReading, after: PlacedReading) -> MeasuredGradient:
    """Gradient between the two places.

    Parameters
    ----------
    before, after : PlacedReading
        At one plateau, before and after probe and sender changed places.

    Raises
    ------
    GradientError
        If the water differs more than a bath may.
    """
    gradient = MeasuredGradient(
        difference_k=0.5 * (before.error_k - after.error_k),
        standard_u_k=0.5 * math.hypot(before.standard_u_k, after.standard_u_k),
        free_error_k=0.5 * (before.error_k + after.error_k),
    )
    if abs(gradient.difference_k) > LARGEST_GRADIENT_K:
        raise GradientError(
            f"The water differs by {abs(gradient.difference_k):.2f} K between probe and sender; "
            f"{LARGEST_GRADIENT_K:g} K is the most. Stir, bring the two nearer, and keep both 20 mm or more "
            "from wall and heater."
        )
    return gradient
