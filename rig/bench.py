"""The bench as the rest of the rig sees it: one pass of readings, and what orders may change."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from calibration.contract.readings import ChannelReading, Insertion
from rig.clock import Clock


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSample:
    """What one pass found.

    Attributes
    ----------
    channels : Mapping[str, ChannelReading]
        By channel name of the contract.
    taps : Mapping[str, float]
        Mean tap counts by name. [count]
    decade_ohm : float
        Setting of the decade box. [Ω]
    insertion : Insertion
        Where the decade box stands.
    range_ohm : float
        Nominal reference resistor in use on the sender channel. [Ω]
    """

    channels: Mapping[str, ChannelReading]
    taps: Mapping[str, float]
    decade_ohm: float
    insertion: Insertion
    range_ohm: float


class Bench(Protocol):
    """A bench, on metal or simulated."""

    simulated: bool
    clock: Clock

    def sample(self) -> BenchSample:
        """One pass at the present clock time; a bad chip becomes a quality word, never an exception."""

    def set_decade(self, resistance_ohm: float) -> None:
        """Set the decade box. [Ω]

        Raises
        ------
        OrderRefused
            If the box cannot make that resistance.
        """

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the decade box in the circuit, breaking before making.

        Raises
        ------
        OrderRefused
            If the relays for it do not exist.
        """

    def set_range(self, range_ohm: float | None) -> None:
        """Fix the range of the sender channel, or leave it to the rig with None. [Ω]

        Raises
        ------
        OrderRefused
            If there is no such range.
        """

    def hands(self, fields: Mapping[str, Any]) -> None:
        """Do what a person would do at the bath; in simulation only.

        Raises
        ------
        OrderRefused
            On metal, or for something these hands cannot do.
        """

    def safe(self) -> None:
        """All relays and all excitation off."""

    def save(self) -> None:
        """Put the simulated world away in its file; nothing on metal."""

    def close(self) -> None:
        """Make safe and let go of the hardware."""
