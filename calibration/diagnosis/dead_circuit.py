"""A circuit in which no resistance is to be read: open, or short."""

import math
from dataclasses import dataclass
from enum import StrEnum


class DeadCircuit(StrEnum):
    """What an ohmmeter, or a converter at its rail, found instead of a resistance."""

    OPEN = "open"
    SHORT = "short"

    @property
    def words(self) -> str:
        """As it is said to a person."""
        return "an open circuit" if self is DeadCircuit.OPEN else "a short circuit"

    @property
    def resistance_ohm(self) -> float:
        """Infinite, or zero. [Ω]"""
        return math.inf if self is DeadCircuit.OPEN else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadPoint:
    """A point at which the circuit was dead. It enters no result; it counts in the diagnosis.

    Attributes
    ----------
    temperature_c : float
        Of the bath. [°C]
    circuit : DeadCircuit
    """

    temperature_c: float
    circuit: DeadCircuit
