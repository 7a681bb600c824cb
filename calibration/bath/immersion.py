"""Heat that a sender leads away along its stem, so that it reads low in a warm bath.

How much is assumed from how it hangs (`Immersion`), or measured by reading it at two depths at the hottest
plateau (`stem_from_two_depths`).
"""

import math
from dataclasses import dataclass, replace
from typing import Protocol

from calibration.errors import CalibrationError

#: Depth over which a sender's deficit falls to 1/e, as a fin in stirred water: ``L = sqrt(k d / (4 h))`` [1]_
#: with brass of 110 W/(m K), 10 to 14 mm thick, and a film of 400 to 4000 W/(m² K). The span is assumed from
#: that, not measured. [mm]
#:
#: .. [1] F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, extended surfaces of uniform
#:    cross-section (quoted from memory).
DECAY_MM = (8.0, 31.0)

#: Two depths must differ by this at least, or the line to the bottom is longer than it is known. [mm]
LEAST_CHANGE_MM = 8.0

#: A reading that is warmer when drawn out is scatter up to so many standard uncertainties.
SCATTER_UP_TO = 3.0

#: Beyond this the sender does not hang in the bath: a handle, not a correction. [1]
LARGEST_SHARE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Immersion:
    """How the sender hangs, and the share of (t - t_air) by which it may read low.

    Attributes
    ----------
    words : str
        As printed on the certificate.
    lowest_share, highest_share : float
        Span of the share; anywhere within it is equally likely. [1]
    """

    words: str
    lowest_share: float
    highest_share: float

    def correction_k(self, temperature_c: float, air_c: float) -> float:
        """Best estimate of how far the sender stands below the water. [K]"""
        return 0.5 * (self.lowest_share + self.highest_share) * (temperature_c - air_c)

    def half_width_k(self, temperature_c: float, air_c: float) -> float:
        """Half-width of that estimate. [K]"""
        return 0.5 * (self.highest_share - self.lowest_share) * abs(temperature_c - air_c)

    def standard_u_k(self, temperature_c: float, air_c: float) -> float:
        """Standard uncertainty of that estimate. [K]"""
        return self.half_width_k(temperature_c, air_c) / math.sqrt(3.0)


# Worked out in simulation for a brass sender (DEVELOPERS.md, "How the bench measures"), not on metal.
HEX_UNDER_WATER = Immersion(
    words="immersed to above the hex, boot on the terminals", lowest_share=0.0, highest_share=0.003
)
HEX_IN_AIR = Immersion(words="25 mm deep, hex in air", lowest_share=0.003, highest_share=0.016)

IMMERSIONS = {"hex_under_water": HEX_UNDER_WATER, "hex_in_air": HEX_IN_AIR}


class Stem(Protocol):
    """What a budget asks of the stem, assumed or measured."""

    def correction_k(self, temperature_c: float, air_c: float) -> float:
        """Best estimate of how far the sender stands below the water. [K]"""
        ...

    def standard_u_k(self, temperature_c: float, air_c: float) -> float:
        """Standard uncertainty of that. [K]"""
        ...


class StemError(CalibrationError):
    """Two depths that tell nothing of the stem."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthReading:
    """The sender at one depth, read against the probe beside it.

    Attributes
    ----------
    depth_mm : float
        From the surface of the water to the sender's tip. [mm]
    error_k : float
        Indicated minus probe. [K]
    standard_u_k : float
        Of that, without what both depths share: scatter and the bath's own unevenness. [K]
    """

    depth_mm: float
    error_k: float
    standard_u_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredStem:
    """Share of (t - t_air) by which the sender reads low at its working depth, as two depths tell it.

    Attributes
    ----------
    share : float
        Best estimate. [1]
    half_width : float
        Half-width from what is not known of the decay with depth. [1]
    standard_u : float
        Standard uncertainty from the readings. [1]
    depth_mm : float
        Working depth, the deeper of the two. [mm]
    """

    share: float
    half_width: float
    standard_u: float
    depth_mm: float

    def correction_k(self, temperature_c: float, air_c: float) -> float:
        """Best estimate of how far the sender stands below the water. [K]"""
        return self.share * (temperature_c - air_c)

    def standard_u_k(self, temperature_c: float, air_c: float) -> float:
        """Standard uncertainty of that, decay and readings together. [K]"""
        return math.hypot(self.half_width / math.sqrt(3.0), self.standard_u) * abs(temperature_c - air_c)

    def within(self, assumed: Immersion) -> "MeasuredStem":
        """The same, with what the decay leaves open cut to what the immersion allows where the two overlap.

        Both spans hold, so that the truth lies in both; the readings' own uncertainty is not cut. Where they
        do not overlap the sender leads away more than was assumed, and the measurement stands alone.
        """
        least = max(self.share - self.half_width, assumed.lowest_share)
        most = min(self.share + self.half_width, assumed.highest_share)
        if least > most:
            return self
        return replace(self, share=0.5 * (least + most), half_width=0.5 * (most - least))


def stem_from_two_depths(
    shallow: DepthReading, deep: DepthReading, *, temperature_c: float, air_c: float
) -> MeasuredStem:
    """Share that is still lost at the deeper depth.

    The deficit falls with depth as ``exp(-depth/L)``. If the shallow reading stands ``D`` below the deep
    one, the deep one stands ``D q/(1 - q)`` below the water, with ``q = exp(-change/L)`` and L anywhere
    within `DECAY_MM`.

    Parameters
    ----------
    shallow, deep : DepthReading
        The sender at its working depth, and drawn out a little.
    temperature_c, air_c : float
        Of the plateau and of the air beside the bath; the hottest plateau shows most. [°C]

    Raises
    ------
    StemError
        If the depths or the temperatures lie too near, if the shallow reading is the warmer one beyond
        what scatter allows, or if more is lost than a correction may take up.
    """
    change_mm = deep.depth_mm - shallow.depth_mm
    if not change_mm >= LEAST_CHANGE_MM:
        raise StemError(
            f"The two depths differ by {change_mm:.3g} mm; {LEAST_CHANGE_MM:g} mm are the least. Draw the "
            "sender out further, but keep its tip well under water."
        )
    if not temperature_c - air_c >= 30.0:
        raise StemError(
            f"The bath stands {temperature_c - air_c:.3g} K above the air; at least 30 K are needed to see "
            "the stem. Read both depths at the hottest plateau."
        )
    fall_k = deep.error_k - shallow.error_k
    u_fall_k = math.hypot(deep.standard_u_k, shallow.standard_u_k)
    if fall_k < -SCATTER_UP_TO * u_fall_k:
        raise StemError(
            f"The sender reads {-fall_k:.3f} K warmer when drawn out, more than the "
            f"{SCATTER_UP_TO * u_fall_k:.3f} K of scatter: that is no stem. Stir, wait until both channels "
            "stand, and read both depths again."
        )
    least, most = (_left_over(change_mm, decay_mm) for decay_mm in DECAY_MM)
    middle, half = 0.5 * (most + least), 0.5 * (most - least)
    span_k = temperature_c - air_c
    stem = MeasuredStem(
        share=middle * fall_k / span_k,
        half_width=half * abs(fall_k) / span_k,
        standard_u=middle * u_fall_k / span_k,
        depth_mm=deep.depth_mm,
    )
    if stem.share + stem.half_width > LARGEST_SHARE:
        raise StemError(
            f"At its working depth the sender still loses up to {stem.share + stem.half_width:.1%} of the "
            f"way to the air; {LARGEST_SHARE:.0%} is the most a correction may take up. Immerse it to above "
            "the hex, with a boot."
        )
    return stem


def _left_over(change_mm: float, decay_mm: float) -> float:
    share = math.exp(-change_mm / decay_mm)
    return share / (1.0 - share)
