"""The simulated MLX90614: words by command, each with its packet error code."""

from collections.abc import Callable

from rig.sim.mlx_code import code_from_celsius, smbus_crc

TA, TOBJ1 = 0x06, 0x07
EMISSIVITY, CONFIG, ADDRESS_CELL = 0x24, 0x25, 0x2E
NO_ANSWER = 0xFFFF


class InfraredChip:
    """Answers word reads over its bus address.

    Parameters
    ----------
    body_c : callable
        Temperature of the sensor's own body. [°C]
    target_c : callable
        What the sensor makes of its target, given the emissivity in its cell. [°C]
    emissivity : float
        What its cell holds.
    address : int
        7-bit address.
    """

    def __init__(
        self,
        *,
        body_c: Callable[[], float],
        target_c: Callable[[float], float],
        emissivity: float,
        address: int,
    ) -> None:
        self._body_c = body_c
        self._target_c = target_c
        self._address = address
        self._cells = {EMISSIVITY: round(65535 * emissivity), CONFIG: 0x9FB4, ADDRESS_CELL: address}
        self._command: int | None = None
        self.error_flag = False
        self.corrupt_pec = False

    @property
    def emissivity(self) -> float:
        """Emissivity in the cell, as the chip uses it."""
        return self._cells[EMISSIVITY] / 65535

    def set_emissivity(self, emissivity: float) -> None:
        """What somebody with a programmer may have left behind."""
        self._cells[EMISSIVITY] = round(65535 * emissivity)

    def write(self, data: bytes) -> None:
        """Take a command; more bytes would write a cell, which this bench never does."""
        if len(data) > 1:
            raise OSError(121, "this chip is not to be written to")
        if data:
            self._command = data[0]

    def read(self, count: int) -> bytes:
        """Low byte, high byte, packet error code; then the bus reads ones."""
        if self._command is None:
            return b"\xff" * count
        word = self._word(self._command)
        low, high = word & 0xFF, word >> 8
        frame = bytes((self._address << 1, self._command, self._address << 1 | 1, low, high))
        pec = smbus_crc(frame) ^ (0x01 if self.corrupt_pec else 0x00)
        return (bytes((low, high, pec)) + b"\xff" * count)[:count]

    def _word(self, command: int) -> int:
        if command in (TA, TOBJ1):
            temperature_c = self._body_c() if command == TA else self._target_c(self.emissivity)
            return code_from_celsius(temperature_c) | (0x8000 if self.error_flag else 0)
        return self._cells.get(command, NO_ANSWER if command >= 0x20 else 0)
