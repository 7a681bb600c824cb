"""What an ohms check found on each range of a station, in few numbers: for its event and its history."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Self

from calibration.contract.readings import Insertion
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.error_as_found import error_as_found
from calibration.resistance.ohms_check import RangeCorrection


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFound:
    """One range as an ohms check found it, before its correction.

    Attributes
    ----------
    insertion : Insertion
        Which channel.
    range_ohm : float
        Its range, and the resistance at which the error is given: the middle of the ratio. [Ω]
    error_ohm, expanded_u_ohm, k : float
        Shown minus true there, its expanded uncertainty and coverage factor. [Ω]
    remainder_count : float
        Standard deviation of what the correction left. [count]
    """

    insertion: Insertion
    range_ohm: float
    error_ohm: float
    expanded_u_ohm: float
    k: float
    remainder_count: float

    @property
    def name(self) -> str:
        """As a person calls it."""
        return f"{self.insertion.value}, {self.range_ohm:g} Ω"

    def as_json(self) -> dict[str, Any]:
        """For an event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Self:
        """From an event."""
        return cls(**{**content, "insertion": Insertion(content["insertion"])})


def channels_found(
    corrections: Mapping[tuple[Insertion, float], RangeCorrection], box: DecadeBoxCertificate
) -> tuple[ChannelFound, ...]:
    """Each range of a check, in its order."""
    found = []
    for (insertion, range_ohm), correction in corrections.items():
        budget = error_as_found(correction, box, range_ohm)
        found.append(
            ChannelFound(
                insertion=insertion,
                range_ohm=range_ohm,
                error_ohm=budget.estimate,
                expanded_u_ohm=budget.expanded_u,
                k=budget.k,
                remainder_count=correction.remainder_count,
            )
        )
    return tuple(found)
