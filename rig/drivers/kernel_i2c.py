"""The I²C bus of the machine itself, in the form that the makers' drivers want. Untested on metal.

The library's own ways in either look for a known board and may ask at the terminal, or come as a
source package only; its plain Linux bus needs nothing but a lock around it.
"""

import threading
from typing import Any

from rig.drivers.i2c import I2CBus
from rig.errors import RigError


def kernel_i2c_bus(number: int) -> I2CBus:
    """Bus ``/dev/i2c-<number>``.

    Raises
    ------
    RigError
        If this machine has none of that number.
    """
    # It looks at the machine when it is imported.
    from adafruit_blinka.microcontroller.generic_linux.i2c import I2C

    try:
        bus: I2CBus = _LockedBus(I2C(number))
    except (RuntimeError, ValueError, OSError) as error:
        raise RigError(
            f"There is no I²C bus {number} here ({error}). On a Raspberry Pi switch I²C on; anywhere else "
            "run the simulated bench."
        ) from error
    return bus


class _LockedBus:
    """A plain bus with the lock that the drivers take before they speak."""

    def __init__(self, bus: Any) -> None:
        self._bus = bus
        self._lock = threading.Lock()

    def try_lock(self) -> bool:
        return self._lock.acquire(blocking=False)

    def unlock(self) -> None:
        self._lock.release()

    def scan(self) -> list[int]:
        return list(self._bus.scan())

    def writeto(self, address: int, buffer: Any, **part: Any) -> None:
        self._bus.writeto(address, buffer, **part)

    def readfrom_into(self, address: int, buffer: Any, **part: Any) -> None:
        self._bus.readfrom_into(address, buffer, **part)

    def writeto_then_readfrom(
        self, address: int, out_buffer: bytes, in_buffer: bytearray, **part: Any
    ) -> None:
        self._bus.writeto_then_readfrom(address, out_buffer, in_buffer, **part)
