"""The I²C bus as drivers are handed it: the calls that CircuitPython's ``busio.I2C`` offers."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

LOCK_DEADLINE_S = 1.0


class I2CBus(Protocol):
    """A bus object, real or simulated."""

    def try_lock(self) -> bool:
        """Take the bus if it is free."""

    def unlock(self) -> None:
        """Give the bus back."""

    def writeto(self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None) -> None:
        """Write bytes to a chip; OSError where none answers."""

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        """Fill ``buffer`` from a chip."""

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


@contextmanager
def locked(bus: I2CBus) -> Iterator[I2CBus]:
    """Hold the bus for a few transactions; OSError if somebody else holds it for a second."""
    deadline_s = time.monotonic() + LOCK_DEADLINE_S
    while not bus.try_lock():
        if time.monotonic() > deadline_s:
            raise OSError("the I²C bus stayed locked for a second")
        time.sleep(0)
    try:
        yield bus
    finally:
        bus.unlock()
