"""The decade box as a planted fault: in series with the sender, or across it, by relay.

For a run of an exercise the box is part of the sender: a reading with the box where it was planted counts as
one of the sender alone, and any other as one of a bench that is not ready. Whether something was planted at
all must not show either, so that a bench without a box takes the same time to be ready.
"""

import math
from dataclasses import dataclass, replace

from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack

#: What is said of a reading before the bench stands as it should; it says nothing of what was planted.
NOT_READY = "the bench is not ready yet"
#: Readings after the ohms check before the sender's count, on any bench: relays have moved by then.
READINGS_TO_BE_READY = 120
#: The box stands there in the ohms check, on any bench.
CHECKING = (Insertion.SENDER, Insertion.PROBE)
#: By this place the box goes on its way to where it is planted, and to nowhere where it is not: so the same
#: relays move, and as often, whatever was planted.
APART = Insertion.SENDER


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedBox:
    """Where the decade box stands as a fault, and its setting. [Ω]"""

    insertion: Insertion
    decade_ohm: float

    def stands_in(self, pack: ReadingPack) -> bool:
        """Tell whether a reading was taken with the box so, by what the pack itself says."""
        return pack.insertion is self.insertion and math.isclose(pack.decade_ohm, self.decade_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """How the readings of an exercise's run are seen.

    Attributes
    ----------
    box : PlantedBox or None
        None where the box is not what was planted.
    heated_from : tuple[str, int] or None
        (boot, seq) of the last reading of set-up and ohms check; None before that.
    """

    box: PlantedBox | None
    heated_from: tuple[str, int] | None

    def of(self, pack: ReadingPack) -> ReadingPack:
        """Reading of the sender with what was planted at it, as if the box were a part of it."""
        if pack.insertion in CHECKING:
            return pack
        alone = replace(pack, insertion=Insertion.NONE, decade_ohm=0.0)
        if self._is_heated(pack) and self._stands_as_it_should(pack):
            return alone
        return replace(alone, channels=_without_sender(pack))

    def _is_heated(self, pack: ReadingPack) -> bool:
        if self.heated_from is None:
            return False
        boot, last = self.heated_from
        return (pack.boot, pack.seq) > (boot, last + READINGS_TO_BE_READY)

    def _stands_as_it_should(self, pack: ReadingPack) -> bool:
        return pack.insertion is Insertion.NONE if self.box is None else self.box.stands_in(pack)


def _without_sender(pack: ReadingPack) -> dict[str, ChannelReading]:
    hidden = ChannelReading(quality=Quality.SWITCHING, reason=NOT_READY)
    return {name: hidden if name == "sender" else channel for name, channel in pack.channels.items()}
