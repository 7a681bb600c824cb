"""The relays that put the decade box in place of a device."""

from typing import Any

from gpiozero import DigitalOutputDevice

from calibration.contract.readings import Insertion
from rig.drivers.pacing import Pacer
from rig.errors import OrderRefused
from rig.wiring import InsertionWiring

RELEASE_S = 0.02  # a small relay lets go in under 10 ms


class InsertionRelays:
    """Moves the decade box in the circuit; breaks before it makes.

    Parameters
    ----------
    wiring : InsertionWiring
        Pins, active high.
    pacer : Pacer
        Waits for relays to let go.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(self, *, wiring: InsertionWiring, pacer: Pacer, pin_factory: Any = None) -> None:
        self._pacer = pacer
        self._relays = {
            Insertion.SENDER: DigitalOutputDevice(wiring.sender_gpio, pin_factory=pin_factory),
            Insertion.PROBE: DigitalOutputDevice(wiring.probe_gpio, pin_factory=pin_factory),
        }
        self._insertion = Insertion.NONE

    @property
    def insertion(self) -> Insertion:
        """Where the box stands."""
        return self._insertion

    def set_insertion(self, insertion: Insertion) -> None:
        """Move the box.

        Raises
        ------
        OrderRefused
            If the relays for it do not exist.
        """
        if insertion is not Insertion.NONE and insertion not in self._relays:
            raise OrderRefused(
                f"This bench has no relays to put the decade box in {insertion.value} with the sender. "
                "It can stand in place of the sender or of the probe."
            )
        if insertion is self._insertion:
            return
        self.off()
        if insertion is not Insertion.NONE:
            self._pacer.wait(RELEASE_S)
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
