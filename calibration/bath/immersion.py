"""Heat that a sender leads away along its stem, so that it reads low in a warm bath."""

from dataclasses import dataclass


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


# Worked out in simulation for a brass sender (DEVELOPERS.md, "How the bench measures"), not on metal.
HEX_UNDER_WATER = Immersion(
    words="immersed to above the hex, boot on the terminals", lowest_share=0.0, highest_share=0.003
)
HEX_IN_AIR = Immersion(words="25 mm deep, hex in air", lowest_share=0.003, highest_share=0.016)

IMMERSIONS = {"hex_under_water": HEX_UNDER_WATER, "hex_in_air": HEX_IN_AIR}
