"""A gpiozero pin factory whose pins drive the simulated circuit and whose SPI answers whole transfers.

gpiozero's own mock toggles pins for every bit: right for testing one driver, too slow for a bench.
"""

from collections.abc import Callable, Sequence
from typing import Any

from gpiozero.pins import SPI
from gpiozero.pins.mock import MockFactory, MockPin

from rig.sim.converter_chip import ConverterChip

PI_4B = "c03114"  # board revision whose header is used


class WatchedPin(MockPin):
    """A pin that tells the circuit when it is driven, and does not remember every edge."""

    def _change_state(self, value: bool) -> bool:
        changed = bool(self._state != value)
        self._state: bool = value
        if changed:
            self.factory.pin_moved(self)
        return changed

    def _set_function(self, value: str) -> None:
        was_driven = self._function == "output" and self._state
        super()._set_function(value)
        if was_driven and value == "input":
            self.factory.pin_moved(self)  # let go: its pull-down takes the relay off


class WholeTransferSPI(SPI):
    """SPI that hands the chip a whole transfer.

    Attributes
    ----------
    transfer : callable
        Bytes that come back while others go out: the chip's own, with nothing between.
    """

    bits_per_word = 8

    def __init__(self, *, pin_factory: Any, chip: ConverterChip) -> None:
        super().__init__(pin_factory=pin_factory)
        self._is_open = True
        self.transfer: Callable[[Sequence[int]], Sequence[int]] = chip.transfer

    def close(self) -> None:
        """Let go of the chip."""
        self._is_open = False
        self.transfer = _refuse
        super().close()

    @property
    def closed(self) -> bool:
        """Tell whether the chip was let go."""
        return not self._is_open

    def _get_clock_mode(self) -> int:
        return 0


def _refuse(data: Sequence[int]) -> Sequence[int]:
    raise OSError("SPI is closed")


class SimulatedPinFactory(MockFactory):
    """Pins of a simulated Pi.

    Parameters
    ----------
    chip : ConverterChip
        What hangs on SPI0, chip select 0.
    pin_changed : callable
        Told the GPIO number and whether it is driven high.
    """

    def __init__(self, *, chip: ConverterChip, pin_changed: Callable[[int, bool], None]) -> None:
        super().__init__(revision=PI_4B, pin_class=WatchedPin)
        self._chip = chip
        self._pin_changed = pin_changed

    def pin_moved(self, pin: WatchedPin) -> None:
        """Pass an edge on; an input pin drives nothing."""
        self._pin_changed(_gpio_number(pin), pin.function == "output" and bool(pin.state))

    def spi(self, **spi_args: Any) -> SPI:
        """SPI to the converter."""
        if spi_args.get("port", 0) != 0 or spi_args.get("device", 0) != 0:
            raise OSError("nothing hangs on that SPI port")
        return WholeTransferSPI(pin_factory=self, chip=self._chip)


def _gpio_number(pin: WatchedPin) -> int:
    return int(pin.info.name.removeprefix("GPIO"))
