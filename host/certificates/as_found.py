"""How a sender was found, as the certificate of its second check, as left, says it again."""

from dataclasses import dataclass

from calibration.conformity import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPoint:
    """One temperature of the first check, with its coverage factor where that was kept. [°C], [K]"""

    temperature_c: float
    error_k: float
    expanded_u_k: float
    verdict: Verdict
    k: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AsFound:
    """The first check of a sender that was then worked on and checked again.

    Attributes
    ----------
    number : str
        Certificate of the first check.
    measured : str
        When its readings were taken.
    verdict : Verdict
    points : tuple[FoundPoint, ...]
    done : str
        What was done to the sender between the two checks, as typed.
    """

    number: str
    measured: str
    verdict: Verdict
    points: tuple[FoundPoint, ...]
    done: str
