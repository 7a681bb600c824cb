"""The bench button: pressed at the moment a handheld thermometer is shot."""

from typing import Any

from gpiozero import DigitalInputDevice

from rig.clock import Clock
from rig.wiring import ButtonWiring


class ShotButton:
    """Stamps presses with rig time; a contact that bounces counts once.

    Parameters
    ----------
    wiring : ButtonWiring
        Pin and debouncing.
    clock : Clock
        Stamps the presses, in the thread that sees the edge.
    pin_factory : gpiozero factory or None
        None takes gpiozero's own choice.
    """

    def __init__(self, *, wiring: ButtonWiring, clock: Clock, pin_factory: Any = None) -> None:
        self._clock = clock
        self._debounce_s = wiring.debounce_s
        self._last_edge_s = float("-inf")
        self._shots_s: list[float] = []
        self._device = DigitalInputDevice(wiring.gpio, pull_up=True, pin_factory=pin_factory)
        self._device.when_activated = self._pressed
        self._device.when_deactivated = self._released

    @property
    def is_pressed(self) -> bool:
        """Tell whether the button is down now."""
        return bool(self._device.is_active)

    def take_shots(self) -> tuple[float, ...]:
        """Rig times of the presses since the last call, oldest first. [s]"""
        taken = tuple(self._shots_s)
        del self._shots_s[: len(taken)]  # one more may have come meanwhile
        return taken

    def close(self) -> None:
        """Let go of the pin."""
        self._device.close()

    def _pressed(self) -> None:
        now_s = self._clock.monotonic_s()
        if now_s - self._last_edge_s >= self._debounce_s:
            self._shots_s.append(now_s)
        self._last_edge_s = now_s

    def _released(self) -> None:
        """A contact bounces as it opens, too."""
        self._last_edge_s = self._clock.monotonic_s()
