"""The status light. It moves with the passes: one that stands still means that sampling stands still."""

from typing import Any

from gpiozero import DigitalOutputDevice

from rig.wiring import LightWiring

# One step a pass, four passes a second.
SAMPLING = (True, False, False, False)
TROUBLE = (True, False, True, False)
IDENTIFY = (True, True, True, False)


class StatusLight:
    """Shows how the rig is.

    Parameters
    ----------
    wiring : LightWiring
        Pin, active high.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(self, *, wiring: LightWiring, pin_factory: Any = None) -> None:
        self._device = DigitalOutputDevice(wiring.gpio, pin_factory=pin_factory)
        self._step = 0
        self._identify_until_s = float("-inf")

    def identify(self, until_s: float) -> None:
        """Show which rig this is until rig time ``until_s``. [s]"""
        self._identify_until_s = until_s

    def next_pass(self, *, now_s: float, trouble: bool) -> None:
        """Show the next step of the pattern that fits."""
        if now_s < self._identify_until_s:
            pattern = IDENTIFY
        else:
            pattern = TROUBLE if trouble else SAMPLING
        lit = pattern[self._step % len(pattern)]
        self._step += 1
        if lit != bool(self._device.value):
            self._device.value = lit

    def off(self) -> None:
        """Dark."""
        self._device.off()

    def close(self) -> None:
        """Dark, pin let go."""
        self._device.off()
        self._device.close()
