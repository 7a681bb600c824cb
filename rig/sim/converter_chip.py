"""The simulated MCP3208: how it turns a voltage into a code, and how it answers a transfer."""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import sin

from rig.sim.circuit import Circuit, PassTime
from rig.sim.plants import ChipEffects

RESULT_BITS = 12
COMMAND_BITS = 5  # start, single-ended or differential, D2, D1, D0 (data sheet DS21298)
HALF_SCALE = 2048.0
FULL_CODE = 4095
FROZEN_CODE = 1234
NOISE_COUNT = 0.7  # at a reference of 1 V: dithers a 12-bit code


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """What the driver asked for.

    Attributes
    ----------
    single_ended : bool
        Against ground, or input ``channel`` against its neighbour.
    channel : int
        D2, D1, D0.
    """

    single_ended: bool
    channel: int

    @classmethod
    def from_bits(cls, bits: int) -> "Command":
        """Command of the four bits after the start bit."""
        return cls(single_ended=bool(bits & 0b1000), channel=bits & 0b0111)


class ConverterCore:
    """Sample and convert: noise, mains hum and the chip's own thresholds.

    Parameters
    ----------
    circuit : Circuit
        What stands at the inputs.
    thresholds : list of float
        Input at which each code from 1 begins. [count]
    noise : iterator of float
        Standard normal numbers.
    time : PassTime
        When a conversion happens; decides the phase of the hum.
    mains_hz, hum_count : float
        Mains frequency, and the hum's amplitude at the inputs. [Hz, count]
    """

    def __init__(
        self,
        *,
        circuit: Circuit,
        thresholds: list[float],
        noise: Iterator[float],
        time: PassTime,
        mains_hz: float,
        hum_count: float,
    ) -> None:
        self._circuit = circuit
        self._thresholds = thresholds
        self._noise = noise
        self._time = time
        self._radian_per_s = 2.0 * math.pi * mains_hz
        self._hum_count = hum_count
        self._noise_count = NOISE_COUNT
        self._step_count = 0.0
        self._stuck_code: int | None = None
        self._faulty = False

    def take(self, faults: ChipEffects) -> None:
        """Let faults into the converter and its supply."""
        self._noise_count = math.hypot(NOISE_COUNT, faults.supply_noise)
        self._step_count = faults.converter_step
        self._stuck_code = None
        if faults.converter_missing:
            self._stuck_code = FULL_CODE
        elif faults.converter_frozen:
            self._stuck_code = FROZEN_CODE
        self._faulty = self._stuck_code is not None or self._step_count != 0.0

    def convert(self, command: Command) -> int:
        """Code for one conversion."""
        if self._faulty or not command.single_ended:
            return self._convert_unusual(command)
        levels = self._circuit.solved or self._circuit.levels()
        noise = self._noise_count * next(self._noise)
        hum = self._hum_count * sin(self._radian_per_s * self._time.now_s)
        return bisect_right(self._thresholds, levels[command.channel] + noise + hum)

    def _convert_unusual(self, command: Command) -> int:
        """Code between two inputs, or of a chip that has a fault."""
        if self._stuck_code is not None:
            return self._stuck_code
        levels = self._circuit.levels()
        level = levels[command.channel]
        if not command.single_ended:
            level = max(0.0, level - levels[command.channel ^ 1])
        if self._step_count and level > HALF_SCALE:  # one code is this much too wide
            level = max(HALF_SCALE, level - self._step_count)
        noise = self._noise_count * next(self._noise)
        hum = self._hum_count * sin(self._radian_per_s * self._time.now_s)
        return bisect_right(self._thresholds, level + noise + hum)


class ConverterChip:
    """Answers whole transfers, as the chip would answer them bit by bit.

    Parameters
    ----------
    convert : callable
        Code for a command.
    """

    def __init__(self, convert: Callable[[Command], int]) -> None:
        self._convert = convert
        self._known: dict[tuple[int, ...], tuple[Command, int]] = {}
        self._three_byte_commands: dict[tuple[int, ...], Command] = {}

    def transfer(self, words: Sequence[int]) -> Sequence[int]:
        """Bytes that come back while ``words`` go out.

        The chip floats its output until the null bit; a driver that does not mask those bits finds ones.
        """
        key = tuple(words)
        command = self._three_byte_commands.get(key)
        if command is not None:
            return _THREE_BYTE_ANSWERS[self._convert(command)]
        return self._framed(key)

    def _framed(self, words: tuple[int, ...]) -> list[int]:
        """Answer to a transfer of any length and alignment."""
        known = self._known.get(words)
        if known is None:
            known = self._known[words] = self._framing(words)
        command, shift = known
        if shift == 0 and len(words) == 3:
            self._three_byte_commands[words] = command
        return _answer(self._convert(command), shift=shift, octets=len(words))

    @staticmethod
    def _framing(words: tuple[int, ...]) -> tuple[Command, int]:
        """Command of a transfer, and by how many bits its result stands left of the end."""
        bits = int.from_bytes(bytes(words), "big")
        start = bits.bit_length() - 1
        if start < COMMAND_BITS - 1:
            raise OSError(f"no complete command in a transfer of {words!r}")
        command = Command.from_bits(bits >> (start - COMMAND_BITS + 1) & 0b1111)
        # After the command: one clock to finish sampling, one null bit, twelve bits of result.
        return command, start - COMMAND_BITS - 1 - RESULT_BITS


def _answer(code: int, *, shift: int, octets: int) -> list[int]:
    """Bytes with a code so many bits left of their end, and ones where the output floats before it."""
    answer = code << shift if shift >= 0 else code >> -shift
    floating = -1 << (RESULT_BITS + 1 + shift)
    total = (answer | floating) & (1 << 8 * octets) - 1
    return list(total.to_bytes(octets, "big"))


# Answers to what gpiozero sends, worked out once: a bench converts 1,700 times a simulated second.
_THREE_BYTE_ANSWERS = [tuple(_answer(code, shift=0, octets=3)) for code in range(FULL_CODE + 1)]
