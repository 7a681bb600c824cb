"""The same converter bit by bit on mock pins: slow, and the judge of the fast one."""

from collections.abc import Callable
from typing import Any

from gpiozero.pins.mock import MockSPIDevice

from rig.sim.converter_chip import COMMAND_BITS, RESULT_BITS, Command


class BitConverter(MockSPIDevice):
    """An MCP3208 that sees clock edges.

    Make it before the driver: it claims its pins' classes.

    Parameters
    ----------
    convert : callable
        Code for a command.
    pin_factory : MockFactory
        Where the pins live.
    """

    def __init__(self, *, convert: Callable[[Command], int], pin_factory: Any) -> None:
        super().__init__(11, 10, 9, 8, pin_factory=pin_factory)
        self._convert = convert
        self._command: list[int] | None = None

    def on_start(self) -> None:
        """Chip select fell: wait for a start bit."""
        super().on_start()
        self._command = None
        for pin in (self.clock_pin, self.mosi_pin, self.miso_pin, self.select_pin):
            pin.clear_states()  # they would otherwise remember every edge

    def on_bit(self) -> None:
        """One clock: gather the command, then queue the answer."""
        bit = int(self.rx_buf[-1])
        if self._command is None:
            if bit:
                self._command = [1]
            return
        if len(self._command) == COMMAND_BITS:
            return
        self._command.append(bit)
        if len(self._command) == COMMAND_BITS:
            command = Command.from_bits(int("".join(map(str, self._command[1:])), 2))
            self.tx_buf = [1, 0]  # one clock to finish sampling, output floating; then the null bit
            self.tx_word(self._convert(command), RESULT_BITS)
