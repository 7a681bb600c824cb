"""One setting of the decade box in an ohms check."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

from calibration.contract.readings import Insertion


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSetting:
    """One setting of the ohms check.

    Attributes
    ----------
    insertion : Insertion
        Which channel the box stands in.
    range_ohm : float
        Range of that channel. [Ω]
    setting_ohm : int
        [Ω]
    """

    insertion: Insertion
    range_ohm: float
    setting_ohm: int

    def as_json(self) -> list[Any]:
        """For an event's payload."""
        return [self.insertion.value, self.range_ohm, self.setting_ohm]

    @classmethod
    def from_json(cls, content: Sequence[Any]) -> Self:
        """From an event's payload."""
        word, range_ohm, setting_ohm = content
        return cls(insertion=Insertion(word), range_ohm=float(range_ohm), setting_ohm=int(setting_ohm))
