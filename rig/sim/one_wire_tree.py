"""The simulated 1-wire tree: a folder with one sensor, as the kernel shows it."""

from enum import StrEnum
from pathlib import Path

from rig.sim.plants import ChipEffects

SERIAL = "28-0000051d0b47"
POWER_ON_COUNT = 0x0550  # +85 °C (data sheet, table 1)


class WitnessFault(StrEnum):
    """What can be wrong with the witness."""

    NONE = "none"
    CHECKSUM = "checksum"  # a disturbed line
    POWER_ON = "power_on"  # it lost its supply before the conversion
    EMPTY = "empty"  # pulled out while the kernel still shows it
    UNPLUGGED = "unplugged"
    FROZEN = "frozen"
    STALE = "stale"  # nothing new comes


def witness_fault(faults: ChipEffects) -> WitnessFault:
    """The witness's share of planted faults."""
    for planted, fault in (
        (faults.witness_missing, WitnessFault.UNPLUGGED),
        (faults.witness_crc, WitnessFault.CHECKSUM),
        (faults.witness_power_on, WitnessFault.POWER_ON),
        (faults.witness_empty, WitnessFault.EMPTY),
        (faults.witness_frozen, WitnessFault.FROZEN),
        (faults.witness_stale, WitnessFault.STALE),
    ):
        if planted:
            return fault
    return WitnessFault.NONE


def maxim_crc(octets: bytes) -> int:
    """CRC-8 of the 1-wire bus: x⁸ + x⁵ + x⁴ + 1, least significant bit first."""
    crc = 0
    for octet in octets:
        crc ^= octet
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


class OneWireTree:
    """Writes what the kernel's driver would show.

    Parameters
    ----------
    folder : Path
        Stands for ``/sys/bus/w1/devices``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file = folder / SERIAL / "w1_slave"
        self._file.parent.mkdir(parents=True, exist_ok=True)
        self._shown = ""
        self.fault = WitnessFault.NONE

    @property
    def has_converted(self) -> bool:
        """Tell whether anything was ever shown."""
        return bool(self._shown)

    def convert(self, temperature_c: float) -> None:
        """One conversion of the sensor: 12 bits, sixteenths of a kelvin. [°C]"""
        if self.fault in (WitnessFault.FROZEN, WitnessFault.STALE) and self._shown:
            return
        if self.fault is WitnessFault.UNPLUGGED:
            self._file.unlink(missing_ok=True)
            self._shown = ""
            return
        text = "" if self.fault is WitnessFault.EMPTY else self._text(temperature_c)
        if text != self._shown or not text:
            self._file.write_text(text, encoding="ascii")
            self._shown = text

    def _text(self, temperature_c: float) -> str:
        if self.fault is WitnessFault.POWER_ON:
            count = POWER_ON_COUNT
        else:
            count = max(-55 * 16, min(125 * 16, round(temperature_c * 16)))
        word = count & 0xFFFF
        # temperature, the two alarm bytes, configuration for 12 bits, three reserved bytes
        scratchpad = bytes((word & 0xFF, word >> 8, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10))
        crc = maxim_crc(scratchpad)
        if self.fault is WitnessFault.CHECKSUM:
            scratchpad = bytes((scratchpad[0] ^ 0x08,)) + scratchpad[1:]
        octets = " ".join(f"{octet:02x}" for octet in (*scratchpad, crc))
        verdict = "YES" if maxim_crc(scratchpad) == crc else "NO"
        return f"{octets} : crc={crc:02x} {verdict}\n{octets} t={count * 1000 // 16}\n"
