"""Sixteen outputs on I²C: the MCP23017; registers by its data sheet, DS20001952C, table 3-5, BANK = 0."""

from rig.drivers.i2c import I2CBus, locked
from rig.errors import RelayError

IODIRA = 0x00  # direction, 1 = input; B follows at 0x01
OLATA = 0x14  # output latch; B follows at 0x15


class PortExpander:
    """Drives 16 outputs; what was written is read back.

    Parameters
    ----------
    bus : I2CBus
        The bus, handed in.
    address : int
        7-bit address.
    """

    def __init__(self, *, bus: I2CBus, address: int) -> None:
        self._bus = bus
        self._address = address

    def start(self) -> None:
        """All latches low first, then all pins outputs, so that no relay moves on the way."""
        self.write(0)
        self._write_pair(IODIRA, 0x0000)

    def write(self, bits: int) -> None:
        """Set the outputs; bit 0 to 7 are port A, 8 to 15 port B.

        Raises
        ------
        RelayError
            If the chip does not answer, or does not hold what was written.
        """
        self._write_pair(OLATA, bits)
        held = self._read_pair(OLATA)
        if held != bits:
            raise RelayError(
                f"The relay chip at 0x{self._address:02X} holds {held:016b} where {bits:016b} was written. "
                "Check its supply and the I²C wires."
            )

    def _write_pair(self, register: int, bits: int) -> None:
        try:
            with locked(self._bus) as bus:
                bus.writeto(self._address, bytes((register, bits & 0xFF, bits >> 8)))
        except OSError as error:
            raise self._no_answer() from error

    def _read_pair(self, register: int) -> int:
        answer = bytearray(2)
        try:
            with locked(self._bus) as bus:
                bus.writeto_then_readfrom(self._address, bytes((register,)), answer)
        except OSError as error:
            raise self._no_answer() from error
        return answer[0] | answer[1] << 8

    def _no_answer(self) -> RelayError:
        return RelayError(
            f"No answer from the relay chip at 0x{self._address:02X}. Check its supply and the I²C wires."
        )
