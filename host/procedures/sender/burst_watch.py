"""Watches for the bursts that are read while a connector is moved."""

import math
from collections.abc import Sequence

from calibration.contract.readings import ReadingPack
from calibration.diagnosis.intermittence import SHORTEST_BURST, Intermittence, intermittence
from calibration.resistance.three_tap import FULL_SCALE_COUNT
from host.citation import Citation
from host.procedures.event import Event
from host.procedures.sender.sender_check import Kind

#: Bursts of a second each that are read one after the other.
BURSTS = 5

# So near full scale nothing is left of the circuit: an open contact. [1]
_OPEN_FROM = 0.98


class BurstWatch:
    """Fed each reading in order; the same readings always lead to the same event."""

    def __init__(self) -> None:
        self._held: list[ReadingPack] = []

    @property
    def count(self) -> int:
        """Bursts that have come in."""
        return len(self._held)

    def feed(self, pack: ReadingPack) -> Event | None:
        """Event that a reading leads to, or None."""
        if self._held and self._held[-1].boot != pack.boot:
            self._held.clear()
        if not pack.burst:
            return None
        self._held.append(pack)
        if len(self._held) < BURSTS:
            return None
        citation = Citation(station=pack.station, boot=pack.boot, first=self._held[0].seq, last=pack.seq)
        self._held.clear()
        return Event(kind=Kind.BURST_READ, payload={"readings": citation.as_json()})


def contact_of(packs: Sequence[ReadingPack]) -> Intermittence | None:
    """What the bursts of some readings say of the contact; None where they are too short to say anything.

    They are judged as one: between two of them the bath moves a sender by far less than a jump.
    """
    ohms = [ohm for pack in packs for ohm in burst_ohm(pack)]
    return intermittence(ohms) if len(ohms) >= SHORTEST_BURST else None


def burst_ohm(pack: ReadingPack) -> list[float]:
    """Resistances of a burst; infinite where the circuit was open, without those that say nothing. [Ω]"""
    found = []
    for single in pack.burst:
        if single.value is not None and single.value > 0.0:
            found.append(single.value)
        elif single.raw >= _OPEN_FROM * FULL_SCALE_COUNT:
            found.append(math.inf)
    return found
