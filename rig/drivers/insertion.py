"""The relays that bring the decade box into the circuit, one place at a time."""

from typing import Any

from gpiozero import DigitalOutputDevice

from calibration.contract.readings import Insertion
from rig.drivers.pacing import Pacer
from rig.wiring import InsertionWiring

# The channel whose reading a place changes.
CHANNEL_OF = {
    Insertion.SENDER: "sender",
    Insertion.PROBE: "probe",
    Insertion.SERIES: "sender",
    Insertion.PARALLEL: "sender",
}


class InsertionRelays:
    """Moves the decade box in the circuit; breaks before it makes, and never closes two places.

    Parameters
    ----------
    wiring : InsertionWiring
        Pins, active high.
    release_s : float
        What a relay is given to let go. [s]
    pacer : Pacer
        Waits for relays to let go.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(
        self, *, wiring: InsertionWiring, release_s: float, pacer: Pacer, pin_factory: Any = None
    ) -> None:
        self._pacer = pacer
        self._release_s = release_s
        pins = {
            Insertion.SENDER: wiring.sender_gpio,
            Insertion.PROBE: wiring.probe_gpio,
            Insertion.SERIES: wiring.series_gpio,
            Insertion.PARALLEL: wiring.parallel_gpio,
        }
        self._relays = {
            place: DigitalOutputDevice(gpio, pin_factory=pin_factory) for place, gpio in pins.items()
        }
        self._insertion = Insertion.NONE

    @property
    def insertion(self) -> Insertion:
        """Where the box stands."""
        return self._insertion

    @property
    def channel(self) -> str | None:
        """Name of the channel that the box stands in, or None."""
        return CHANNEL_OF.get(self._insertion)

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the box: every place is opened and given time to let go before one is closed."""
        if insertion is self._insertion:
            return
        self.off()
        if insertion is not Insertion.NONE:
            self._pacer.wait(self._release_s)
            self._relays[insertion].on()
            self._insertion = insertion

    def off(self) -> None:
        """All relays at rest: the devices are back in the circuit."""
        for relay in self._relays.values():
            relay.off()
        self._insertion = Insertion.NONE

    def close(self) -> None:
        """All relays at rest, pins let go."""
        self.off()
        for relay in self._relays.values():
            relay.close()
