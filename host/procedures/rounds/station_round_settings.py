"""What a round is started with, kept by value in its first event."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

from calibration.station_round import StatedValue

#: Raised whenever code changes a number that a certificate depends on.
METHOD_VERSION = "2"


class Quantity(StrEnum):
    """What is compared."""

    ERROR = "error"  # of a sender, indicated minus true: each bath may stand a little apart
    TEMPERATURE = "temperature"  # that an artefact is said to have, in one bath for all
    RESISTANCE = "resistance"  # of a fixed resistor

    @property
    def unit(self) -> str:
        """As printed."""
        return {Quantity.ERROR: "K", Quantity.TEMPERATURE: "°C", Quantity.RESISTANCE: "Ω"}[self]

    @property
    def difference_unit(self) -> str:
        """Unit of a difference, and of an uncertainty."""
        return "Ω" if self is Quantity.RESISTANCE else "K"

    @property
    def words(self) -> str:
        """As printed."""
        return {
            Quantity.ERROR: "error of the sender",
            Quantity.TEMPERATURE: "temperature",
            Quantity.RESISTANCE: "resistance",
        }[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRoundSettings:
    """Settings of a round.

    Attributes
    ----------
    artefact : str
        What goes round.
    quantity : Quantity
    at : float
        Temperature, or nominal resistance, of the comparison. [°C] or [Ω]
    curve : str
        Curve by which the error of a sender is told; empty for the others.
    reference : StatedValue or None
        [unit of the quantity]
    reference_words : str
        Where it comes from.
    reference_entry : Mapping[str, Any]
        Register entry of the artefact, by value, where it comes from there.
    reference_run : int or None
    reference_station : str
        Run whose certificate the reference is, and where it was measured.
    stations : tuple[str, ...]
        Whose results are awaited.
    read_by : str
        Last day of the readings, ISO 8601; what comes later does not count by itself. Empty for none.
    kept : str
        How the artefact was carried and kept.
    operator, job : str
    simulated : bool
        Whether the reference is of a simulated bench.
    method_version : str
    """

    artefact: str
    quantity: Quantity
    at: float
    curve: str = ""
    reference: StatedValue | None = None
    reference_words: str = ""
    reference_entry: Mapping[str, Any] = field(default_factory=dict)
    reference_run: int | None = None
    reference_station: str = ""
    stations: tuple[str, ...] = ()
    read_by: str = ""
    kept: str = ""
    operator: str = ""
    job: str = ""
    simulated: bool = False
    method_version: str = METHOD_VERSION

    @property
    def at_words(self) -> str:
        """Where, as printed."""
        return f"{self.at:g} {'Ω' if self.quantity is Quantity.RESISTANCE else '°C'}"

    def as_json(self) -> dict[str, Any]:
        """For the first event; ``item`` is what the list of runs shows."""
        return asdict(self) | {
            "item": self.artefact,
            "quantity": self.quantity.value,
            "reference": None if self.reference is None else asdict(self.reference),
            "reference_entry": dict(self.reference_entry),
            "stations": list(self.stations),
        }

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "StationRoundSettings":
        """From the first event."""
        kept = {name: content[name] for name in cls.__dataclass_fields__ if name in content}
        kept["quantity"] = Quantity(kept["quantity"])
        kept["stations"] = tuple(kept["stations"])
        kept["reference"] = None if kept["reference"] is None else StatedValue(**kept["reference"])
        return cls(**kept)
