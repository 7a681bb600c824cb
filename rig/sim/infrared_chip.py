"""The simulated MLX90614: words by command, each with its packet error code."""

from collections.abc import Callable

from rig.sim.mlx_code import code_from_celsius, smbus_crc
from rig.sim.plants import ChipEffects

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
        self._own_emissivity = emissivity
        self._in_use = self._cells[EMISSIVITY]
        self.error_flag = False
        self.corrupt_pec = False
        self._frozen = False
        self._held: dict[int, int] = {}

    def take(self, faults: ChipEffects) -> None:
        """Let faults into the chip."""
        self.corrupt_pec = bool(faults.infrared_pec)
        self.error_flag = bool(faults.infrared_error_flag)
        self._frozen = bool(faults.infrared_frozen)
        self._held = {}
        if faults.infrared_emissivity:
            self.set_emissivity(faults.infrared_emissivity)
        elif self.emissivity != self._own_emissivity:
            self.set_emissivity(self._own_emissivity)

    @property
    def emissivity(self) -> float:
        """Emissivity that the chip measures with: that of its cell when it was switched on."""
        return self._in_use / 65535

    def set_emissivity(self, emissivity: float) -> None:
        """What somebody with a programmer may have left behind."""
        self._cells[EMISSIVITY] = round(65535 * emissivity)
        self.switch_off_and_on()

    def switch_off_and_on(self) -> None:
        """Take up what the cells hold."""
        self._in_use = self._cells[EMISSIVITY]

    def write(self, data: bytes) -> None:
        """Take a command, or a word for a cell.

        A cell can only be written while it is erased, and a frame with a wrong packet error code is let lie.
        """
        if data:
            self._command = data[0]
        if len(data) != 4:
            return
        command, low, high, pec = data
        if pec != smbus_crc(bytes((self._address << 1, command, low, high))):
            raise OSError(121, "Remote I/O error")
        if not 0x20 <= command < 0x40:
            return
        word = low | high << 8
        if word == 0:
            self._cells[command] = 0
        else:
            self._cells[command] = self._cells.get(command, 0) | word

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
            word = code_from_celsius(temperature_c) | (0x8000 if self.error_flag else 0)
            return self._held.setdefault(command, word) if self._frozen else word
        return self._cells.get(command, NO_ANSWER if command >= 0x20 else 0)
