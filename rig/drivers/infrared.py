"""The non-contact sensor: the MLX90614 through a library's driver, with what that driver leaves out.

The driver checks neither the packet error code nor the error flag and knows nothing of the emissivity cell.
It is used as it is, but on a bus that reads one byte more and refuses a word whose code is wrong.
"""

from dataclasses import dataclass

from adafruit_mlx90614 import MLX90614

from calibration.contract.readings import ChannelReading, Quality
from rig.drivers.frozen import RepeatWatch
from rig.drivers.i2c import I2CBus, locked
from rig.drivers.pacing import Pacer
from rig.errors import OrderRefused, ReadingUnusable
from rig.wiring import InfraredWiring

EMISSIVITY_CELL = 0x24  # EEPROM; 65535·e (data sheet, from memory for this part)
EMISSIVITY_FULL_SCALE = 65535
EMISSIVITY_SPAN = (0.1, 1.0)  # data sheet
EEPROM_WRITE_S = 0.005  # erasing takes as long again (data sheet: 5 ms each)
EMISSIVITY_CHECK_S = 60.0
EMISSIVITY_TOLERANCE = 0.002
# The target's word moves by its own noise: the same so often, half a minute, is no measurement.
FROZEN_AFTER_READINGS = 120
_FIRST_EEPROM_COMMAND = 0x20  # RAM commands are 000xxxxx (data sheet)
_ERROR_FLAG = 0x8000  # bit 15 of the temperature words (data sheet)
_LOWEST_CODE = 0x27AD  # -70.01 °C, bottom of the object range (data sheet)


def packet_error_code(octets: bytes) -> int:
    """CRC-8 of the System Management Bus: polynomial 0x07, start 0, most significant bit first."""
    crc = 0
    for octet in octets:
        crc ^= octet
        for _ in range(8):
            crc = (crc << 1 ^ 0x07) & 0xFF if crc & 0x80 else crc << 1
    return crc


class PecCheckedBus:
    """A bus that answers word reads only with a right packet error code, and no flagged temperature.

    Parameters
    ----------
    bus : I2CBus
        The bus underneath.
    """

    def __init__(self, bus: I2CBus) -> None:
        self._bus = bus
        self.last_word = 0

    def try_lock(self) -> bool:
        """Take the bus if it is free."""
        return self._bus.try_lock()

    def unlock(self) -> None:
        """Give the bus back."""
        self._bus.unlock()

    def writeto(self, address: int, buffer: bytes, *, start: int = 0, end: int | None = None) -> None:
        """Pass a write on; drivers use an empty one to see whether the chip answers."""
        self._bus.writeto(address, buffer, start=start, end=end)

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        """Pass a plain read on."""
        self._bus.readfrom_into(address, buffer, start=start, end=end)

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
        """Read one word; three bytes are fetched and two handed on.

        Raises
        ------
        ReadingUnusable
            If the packet error code is wrong, or a temperature carries the error flag.
        """
        command = out_buffer[out_start]
        answer = bytearray(3)
        self._bus.writeto_then_readfrom(address, bytes((command,)), answer)
        word = answer[0] | answer[1] << 8
        expected = packet_error_code(bytes((address << 1, command, address << 1 | 1, answer[0], answer[1])))
        if answer[2] != expected:
            raise ReadingUnusable(
                Quality.CHECKSUM,
                f"packet error code 0x{answer[2]:02X} is not 0x{expected:02X}: check the sensor's wires",
                raw=word,
            )
        if command < _FIRST_EEPROM_COMMAND and word & _ERROR_FLAG:
            raise ReadingUnusable(
                Quality.ERROR_FLAG, "the sensor raises its error flag: switch it off and on", raw=word
            )
        self.last_word = word
        in_buffer[in_start : in_start + 2] = answer[:2]


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredReadings:
    """The target, the sensor's own body, and what its emissivity cell held: None where it was not read."""

    infrared: ChannelReading
    ambient: ChannelReading
    emissivity: float | None


class InfraredSensor:
    """Reads target and body; every fault becomes a quality word.

    Parameters
    ----------
    bus : I2CBus
        The bus, handed in.
    wiring : InfraredWiring
        Address, and the emissivity that the sensor's cell must hold.
    pacer : Pacer
        Waits while a cell is erased and written.
    """

    def __init__(self, *, bus: I2CBus, wiring: InfraredWiring, pacer: Pacer) -> None:
        self._bus = PecCheckedBus(bus)
        self._wiring = wiring
        self._pacer = pacer
        self._repeats = RepeatWatch(most=FROZEN_AFTER_READINGS)
        self._driver: MLX90614 | None = None
        self._emissivity_checked_s: float | None = None
        self._emissivity: float | None = None

    def read(self, now_s: float) -> InfraredReadings:
        """One pass at rig time ``now_s``. [s]"""
        ambient = self._reading("ambient_temperature")
        infrared = self._object_reading(now_s)
        return InfraredReadings(infrared=infrared, ambient=ambient, emissivity=self._emissivity)

    def _object_reading(self, now_s: float) -> ChannelReading:
        try:
            self._check_emissivity(now_s)
        except ReadingUnusable as error:
            return ChannelReading(quality=error.quality, reason=error.reason)
        reading = self._reading("object_temperature")
        if reading.quality is Quality.GOOD and self._repeats.is_frozen(reading.raw):
            words = "the same reading for half a minute, without its noise: switch the sensor off and on"
            return ChannelReading(quality=Quality.FROZEN, raw=reading.raw, reason=words)
        return reading

    def _reading(self, attribute: str) -> ChannelReading:
        try:
            temperature_c: float = getattr(self._chip(), attribute)
        except ReadingUnusable as error:
            return ChannelReading(quality=error.quality, raw=error.raw, reason=error.reason)
        except OSError as error:
            return ChannelReading(quality=Quality.MISSING, reason=self._no_answer(error))
        raw = self._bus.last_word
        if raw < _LOWEST_CODE:
            return ChannelReading(
                quality=Quality.RANGE, raw=raw, reason="below the sensor's span of -70 °C: not a temperature"
            )
        return ChannelReading(quality=Quality.GOOD, raw=raw, value=round(temperature_c, 2))

    def _chip(self) -> MLX90614:
        if self._driver is None:
            try:
                self._driver = MLX90614(self._bus, address=self._wiring.i2c_address)
            except ValueError as error:  # what the driver raises where nothing answers
                raise ReadingUnusable(Quality.MISSING, self._no_answer(error)) from error
        return self._driver

    def _check_emissivity(self, now_s: float) -> None:
        checked_s = self._emissivity_checked_s
        if checked_s is not None and now_s - checked_s < EMISSIVITY_CHECK_S:
            return
        self._emissivity = None
        emissivity = self.emissivity()
        self._emissivity = round(emissivity, 4)
        if abs(emissivity - self._wiring.emissivity) > EMISSIVITY_TOLERANCE:
            raise ReadingUnusable(
                Quality.ERROR_FLAG,
                f"the sensor's emissivity cell says {emissivity:.3f}, "
                f"wiring.toml {self._wiring.emissivity:.3f}",
            )
        self._emissivity_checked_s = now_s

    def emissivity(self) -> float:
        """Emissivity in the sensor's own cell.

        Raises
        ------
        ReadingUnusable
            If the cell cannot be read.
        """
        self._chip()
        answer = bytearray(2)
        try:
            with locked(self._bus) as bus:
                bus.writeto_then_readfrom(self._wiring.i2c_address, bytes((EMISSIVITY_CELL,)), answer)
        except OSError as error:
            raise ReadingUnusable(Quality.MISSING, self._no_answer(error)) from error
        return (answer[0] | answer[1] << 8) / EMISSIVITY_FULL_SCALE

    def write_emissivity(self, emissivity: float, *, confirmed: bool) -> None:
        """Write the sensor's emissivity cell: erase, write, read back. No other cell is ever written.

        The sensor measures with the new value after its supply was off and on.

        Raises
        ------
        OrderRefused
            If it was not confirmed, or is outside what the cell may hold; nothing was written.
        ReadingUnusable
            If the cell does not hold it afterwards.
        """
        low, high = EMISSIVITY_SPAN
        if not confirmed:
            raise OrderRefused(
                "The emissivity cell is memory of the sensor and is written only on a confirmed order. "
                "Say that it is meant."
            )
        if not low <= emissivity <= high:
            raise OrderRefused(f"An emissivity goes from {low:g} to {high:g}, not {emissivity:g}.")
        word = round(emissivity * EMISSIVITY_FULL_SCALE)
        self._chip()
        self._emissivity_checked_s = self._emissivity = None
        try:
            for each in (0, word):  # the cell must be erased first, or old bits stay
                self._write_cell(each)
                self._pacer.wait(2 * EEPROM_WRITE_S)
        except OSError as error:
            raise ReadingUnusable(Quality.MISSING, self._no_answer(error)) from error
        found = self.emissivity()
        if round(found * EMISSIVITY_FULL_SCALE) != word:
            raise ReadingUnusable(
                Quality.ERROR_FLAG,
                f"the emissivity cell holds {found:.4f} where {emissivity:.4f} was written: write it again",
            )

    def _write_cell(self, word: int) -> None:
        address = self._wiring.i2c_address
        frame = bytes((EMISSIVITY_CELL, word & 0xFF, word >> 8))
        code = packet_error_code(bytes((address << 1,)) + frame)
        with locked(self._bus) as bus:
            bus.writeto(address, frame + bytes((code,)))

    def _no_answer(self, error: Exception) -> str:
        address = self._wiring.i2c_address
        return f"no answer from the infrared sensor at 0x{address:02X} ({error}): check its plug"
