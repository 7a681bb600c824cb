"""What was read on the vehicle. A record, not a certificate: assumed widths, no limit of a maker."""

from dataclasses import dataclass
from typing import ClassVar

from calibration.conformity import Verdict
from calibration.vehicle.in_place import InPlaceComparison
from calibration.vehicle.substitution import Finding
from host.certificates.certificate import Witness
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedReading:
    """One reading on the vehicle, after its corrections.

    Attributes
    ----------
    where : str
        "scan data", "dash gauge", "head beside the sensor" …
    temperature_c, expanded_u_k : float
        k = 2. [°C], [K]
    words : str
        As typed, and how it was corrected.
    """

    where: str
    temperature_c: float
    expanded_u_k: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedGap:
    """Two readings that cannot both be true; the gap with its expanded uncertainty, k = 2. [K]"""

    high: str
    low: str
    gap_k: float
    expanded_u_k: float
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedFinding:
    """What the decade box told of one part: what it adds, k = 2, and what it may add (assumed). [K]"""

    part: str
    size_k: float
    expanded_u_k: float
    allowance_k: float
    verdict: Verdict
    words: str

    @classmethod
    def of(cls, finding: Finding) -> "RecordedFinding":
        """A finding as it is kept."""
        return cls(
            part=finding.part.value,
            size_k=finding.size_k,
            expanded_u_k=finding.expanded_u_k,
            allowance_k=finding.allowance_k,
            verdict=finding.verdict,
            words=finding.words,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlaceBody:
    """A comparison on the vehicle.

    Attributes
    ----------
    curve : str
        What the computer is taken to hold.
    thermostat : str
    points : tuple[RecordedReading, ...]
    gaps : tuple[RecordedGap, ...]
        The largest first.
    findings : tuple[RecordedFinding, ...]
    witnesses : tuple[Witness, ...]
        What each reading allows for the coolant at the sender; the fairest first.
    words, next_action : str
        What was found, and what to try.
    """

    kind: ClassVar[Kind] = Kind.IN_PLACE

    curve: str
    thermostat: str
    points: tuple[RecordedReading, ...]
    gaps: tuple[RecordedGap, ...] = ()
    findings: tuple[RecordedFinding, ...] = ()
    witnesses: tuple[Witness, ...] = ()
    words: str = ""
    next_action: str = ""


def gaps_of(comparison: InPlaceComparison) -> tuple[RecordedGap, ...]:
    """Disagreements of a comparison as they are kept."""
    return tuple(
        RecordedGap(
            high=one.high.value,
            low=one.low.value,
            gap_k=one.gap_k,
            expanded_u_k=one.expanded_u_k,
            rule=one.rule,
        )
        for one in comparison.disagreements
    )
