"""A check whose curve is not known beforehand: what stands in for it, and the choice that ends it.

Readings are the same whatever they are judged against. A curve that is chosen because it fits them says which
curve the sender follows; it is no finding of its own that the sender is within limits.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from typing import Any

from calibration.curves import ReferenceCurve, curve_from_toml
from calibration.identification import Identification

#: What stands in place of a curve's name; no curve can have it, names being without spaces.
FIND_OUT = "to be found out"

#: Likelihoods kept with the choice; the others are next to nothing.
_WORTH_KEEPING = 0.001

# An NTC as senders are, broad enough for all that the bench reads (50 ohm to 25 kilohm, -40 to 150 °C).
_STAND_IN = """
title = "An NTC in general, until a curve is chosen"
source = "no document: it turns wander from ohms into kelvin while plateaus are read, and judges nothing"
tolerance = "unknown"
wiring = "unknown"
allowed_current_ma = "unknown"

[coefficients]
form = "beta"
r25_ohm = 2050
beta_k = 3500
valid_from_c = -60
valid_to_c = 200
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveChoice:
    """The curve that somebody chose once the readings were there.

    Attributes
    ----------
    curve, curve_hash, curve_text : str
        By name, by the hash of its content, and by value.
    by : str
        Who chose; may be empty.
    chosen : str
        When, in the shop's time.
    ranking : Mapping[str, float]
        Probability of each curve that was worth a row. [1]
    none_of_these : float
        That the sender follows none of them. [1]
    limit_k : float or None
        Limit in place of the curve's own tolerance. [K]
    """

    curve: str
    curve_hash: str
    curve_text: str
    by: str
    chosen: str
    ranking: Mapping[str, float]
    none_of_these: float
    limit_k: float | None = None

    @property
    def words(self) -> str:
        """Who chose which curve when, and how likely it was."""
        by = f" by {self.by}" if self.by else ""
        share = self.ranking.get(self.curve, 0.0)
        return (
            f"{self.curve}, chosen{by} on {self.chosen} from readings of this sender; of the curves known "
            f"here it had a probability of {_percent(share)}, none of them {_percent(self.none_of_these)}"
        )

    def as_json(self) -> dict[str, Any]:
        """For an event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "CurveChoice":
        """From an event."""
        return cls(**{field.name: content[field.name] for field in fields(cls) if field.name in content})


def ranking_of(found: Identification) -> dict[str, float]:
    """Probabilities that are kept with a choice."""
    return {one.curve: one.probability for one in found.candidates if one.probability >= _WORTH_KEEPING}


@lru_cache(maxsize=1)
def stand_in_curve() -> ReferenceCurve:
    """Curve that plateaus are watched with until one is chosen."""
    return curve_from_toml(_STAND_IN, name=FIND_OUT)


def _percent(share: float) -> str:
    percent = 100.0 * share
    return "under 0.1 %" if percent < 0.1 else f"{percent:.1f} %"
