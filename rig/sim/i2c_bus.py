"""The simulated I²C bus: hands writes and reads to the chip at an address."""

from collections.abc import Mapping
from typing import Protocol


class I2CChip(Protocol):
    """A chip on the bus."""

    def write(self, data: bytes) -> None:
        """Take the bytes of one write."""

    def read(self, count: int) -> bytes:
        """Give the bytes of one read."""


class SimulatedI2CBus:
    """A bus with the calls of CircuitPython's ``busio.I2C``.

    Parameters
    ----------
    chips : Mapping[int, I2CChip]
        By address. A chip taken out of the mapping answers no more.
    """

    def __init__(self, chips: Mapping[int, I2CChip]) -> None:
        self.chips = dict(chips)
        self.silent: set[int] = set()  # do not acknowledge
        self.stretching: set[int] = set()  # hold the clock for ever
        self._held = False

    def try_lock(self) -> bool:
        """Take the bus if it is free."""
        if self._held:
            return False
        self._held = True
        return True

    def unlock(self) -> None:
        """Give the bus back."""
        if not self._held:
            raise ValueError("the bus was not locked")
        self._held = False

    def writeto(self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None) -> None:
        """Write to a chip; an empty write only asks whether it is there."""
        self._chip(address).write(bytes(buffer[start:end]))

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        """Read from a chip."""
        end = len(buffer) if end is None else end
        buffer[start:end] = self._chip(address).read(end - start)

    def writeto_then_readfrom(
        self,
        address: int,
        out_buffer: bytes,
        in_buffer: bytearray,
        *,
        out_start: int = 0,
        out_end: int | None = None,
        in_start: int = 0,
        in_end: int | None = None,
    ) -> None:
        """Write, then read with no stop between."""
        chip = self._chip(address)
        chip.write(bytes(out_buffer[out_start:out_end]))
        in_end = len(in_buffer) if in_end is None else in_end
        in_buffer[in_start:in_end] = chip.read(in_end - in_start)

    def _chip(self, address: int) -> I2CChip:
        if not self._held:
            raise RuntimeError("the bus is used without being locked")
        if address in self.silent:
            raise OSError(121, "Remote I/O error")
        if address in self.stretching:
            raise TimeoutError(110, "Connection timed out")  # what Linux says when the clock stays low
        try:
            return self.chips[address]
        except KeyError:
            raise OSError(121, "Remote I/O error") from None  # what Linux says where nothing answers
