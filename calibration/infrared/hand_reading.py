"""What a contact thermometer read by hand adds to a target: a bench's probe is read at the shot itself.

All spans here are assumed from common practice (no single source), not measured on any thermometer.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.uncertainty.budget import BudgetLine
from calibration.uncertainty.line import rectangular

#: From its reading to the shot, and what it lags by itself, together at most. Assumed. [s]
APART_S = 30.0
#: What a person still calls standing still on a display of 0.1 K. Assumed. [K/min]
UNSEEN_DRIFT_K_PER_MIN = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HandReading:
    """How a contact thermometer that is read by hand touches its target.

    Attributes
    ----------
    low_share : float
        Its stem stands in the air: it reads low by 0 to this share of (t - t_air), anywhere alike. [1]
    """

    low_share: float

    def lines(self, *, said_c: float, air_c: float) -> tuple[BudgetLine, ...]:
        """Budget lines of the target's temperature, where the thermometer says ``said_c``. [K]"""
        stem_k = 0.5 * self.low_share * abs(said_c - air_c)
        apart_k = UNSEEN_DRIFT_K_PER_MIN / 60.0 * APART_S
        apart = rectangular("time from reading to shot, by hand (assumed)", 0.0, "K", apart_k, 1.0)
        if not self.low_share:
            return (apart,)
        return (rectangular("contact and stem, read by hand (assumed)", 0.0, "K", stem_k, 1.0), apart)

    def correction_k(self, *, said_c: float, air_c: float) -> float:
        """What its stem takes off it on the whole: half of what it may. [K]"""
        return 0.5 * self.low_share * (said_c - air_c)

    @property
    def words(self) -> str:
        """What is assumed, for a person."""
        stem = (
            f"its stem may make it read low by 0 to {100.0 * self.low_share:g} % of the difference to the "
            "air, half of which is corrected, and "
            if self.low_share
            else ""
        )
        return (
            f"{stem}up to {APART_S:g} s lie between its reading and the shot while the target drifts unseen "
            f"by up to {UNSEEN_DRIFT_K_PER_MIN:g} K/min"
        )


#: By the word of each target in a form. In a hole of a plate the stem stands in air; a cavity's thermometer
#: hangs in the bath (a sender hung so loses 0.3 %, simulated); taped to a face, its loss is a span of that
#: target already.
BY_HAND: Mapping[str, HandReading] = {
    "painted_face": HandReading(low_share=0.02),
    "immersed_cavity": HandReading(low_share=0.005),
    "taped_face": HandReading(low_share=0.0),
}
