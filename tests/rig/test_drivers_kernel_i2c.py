"""The machine's own I²C bus, as far as a machine without one can show."""

import pytest

from rig.drivers.kernel_i2c import _LockedBus, kernel_i2c_bus
from rig.errors import RigError


class PlainBus:
    """A bus that notes what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple] = []

    def writeto(self, address: int, buffer: bytes, **part: int) -> None:
        self.asked.append(("write", address, bytes(buffer), part))

    def writeto_then_readfrom(self, address: int, out: bytes, into: bytearray, **part: int) -> None:
        self.asked.append(("write then read", address, bytes(out), part))
        into[:] = b"\x12\x34\x56"


def test_a_bus_that_does_not_exist_is_refused_with_the_next_step() -> None:
    with pytest.raises(RigError, match="switch I²C on"):
        kernel_i2c_bus(250)


def test_only_one_speaks_at_a_time() -> None:
    bus = _LockedBus(PlainBus())
    assert bus.try_lock()
    assert not bus.try_lock()
    bus.unlock()
    assert bus.try_lock()


def test_what_a_driver_says_reaches_the_bus_as_it_is() -> None:
    plain = PlainBus()
    bus, into = _LockedBus(plain), bytearray(3)
    bus.writeto(0x20, b"\x00\x01")
    bus.writeto_then_readfrom(0x5A, b"\x07", into, in_end=3)
    assert plain.asked == [
        ("write", 0x20, b"\x00\x01", {}),
        ("write then read", 0x5A, b"\x07", {"in_end": 3}),
    ]
    assert into == b"\x12\x34\x56"
