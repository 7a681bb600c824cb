"""One entry of the register: an instrument as one certificate describes it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One instrument as one certificate describes it.

    Attributes
    ----------
    number : int
        Of the entry, from 1 on.
    kind, serial : str
        What it is, and its serial.
    content : Mapping[str, Any]
        The register file by value; dates are ISO 8601 text.
    sha256 : str
        Digest of the content, by which a result cites it.
    due : date or None
        When its next calibration is due, where its owner set a date.
    added_utc_s : float
        When it came into the register. [s]
    """

    number: int
    kind: str
    serial: str
    content: Mapping[str, Any]
    sha256: str
    due: date | None
    added_utc_s: float

    @property
    def certificate(self) -> str:
        """Certificate that the content comes from."""
        return str(self.content["certificate"])

    @property
    def issuer(self) -> str:
        """Who issued that certificate."""
        return str(self.content["issuer"])

    @property
    def issued(self) -> date:
        """Date of that certificate."""
        return date.fromisoformat(str(self.content["issued"]))

    @property
    def station(self) -> str:
        """Station that it is kept at; empty where it is kept at none."""
        return str(self.content.get("station", ""))

    @property
    def simulated(self) -> bool:
        """Tell whether it exists in simulation only."""
        return bool(self.content.get("simulated", False))

    def is_overdue(self, today: date) -> bool:
        """Tell whether its calibration was due before ``today``."""
        return self.due is not None and self.due < today
