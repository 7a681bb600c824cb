"""The simulated MCP23017: its registers, and the relays that hang on its pins."""

from collections.abc import Callable

REGISTERS = 0x16  # IODIRA … OLATB with IOCON.BANK = 0 (data sheet DS20001952C, table 3-5)
IODIR, GPIO, OLAT = 0x00, 0x12, 0x14
IOCON = (0x0A, 0x0B)
_SEQOP = 0x20  # IOCON bit: the address pointer does not move on


class PortExpanderChip:
    """Register-level model of what the relays need; interrupts and polarity are registers without effect.

    Parameters
    ----------
    outputs_changed : callable
        Told the sixteen pins that are driven high; a pin that is an input drives nothing.
    """

    def __init__(self, outputs_changed: Callable[[int], None]) -> None:
        self._registers = bytearray(REGISTERS)
        self._registers[IODIR] = self._registers[IODIR + 1] = 0xFF  # inputs after power-on
        self._pointer = 0
        self._outputs_changed = outputs_changed
        self.forgets = False

    @property
    def driven_high(self) -> int:
        """Pins that are outputs and high; bit 0 to 7 are port A."""
        latch = self._registers[OLAT] | self._registers[OLAT + 1] << 8
        inputs = self._registers[IODIR] | self._registers[IODIR + 1] << 8
        return latch & ~inputs & 0xFFFF

    def write(self, data: bytes) -> None:
        """First byte sets the register pointer, the rest are written from there on."""
        if not data:
            return
        self._pointer = self._wrapped(data[0])
        before = self.driven_high
        for value in data[1:]:
            self._store(value)
            self._advance()
        if self.driven_high != before:
            self._outputs_changed(self.driven_high)

    def read(self, count: int) -> bytes:
        """Registers from the pointer on."""
        answer = bytearray()
        for _ in range(count):
            answer.append(self._load())
            self._advance()
        return bytes(answer)

    def _store(self, value: int) -> None:
        register = self._pointer
        if self.forgets:
            return
        if register in IOCON:
            for each in IOCON:  # one register at two addresses; BANK stays 0 in this model
                self._registers[each] = value & 0x7E
        elif register in (GPIO, GPIO + 1):
            self._registers[register - GPIO + OLAT] = value  # a write to the port goes to the latch
        else:
            self._registers[register] = value

    def _load(self) -> int:
        register = self._pointer
        if register == GPIO:
            return self.driven_high & 0xFF
        if register == GPIO + 1:
            return self.driven_high >> 8
        return self._registers[register]

    def _advance(self) -> None:
        if self._registers[IOCON[0]] & _SEQOP:
            self._pointer ^= 1  # with BANK = 0 it toggles between the two ports
        else:
            self._pointer = self._wrapped(self._pointer + 1)

    @staticmethod
    def _wrapped(pointer: int) -> int:
        return pointer % REGISTERS
