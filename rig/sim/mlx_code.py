"""Words of the simulated infrared sensor, written apart from the driver that has to read them."""


def code_from_celsius(temperature_c: float) -> int:
    """Register word: 0.02 K for each count, from absolute zero (data sheet)."""
    return max(0, min(0x7FFF, round((temperature_c + 273.15) * 50)))


def _remainder(octet: int) -> int:
    """Octet·x⁸ modulo x⁸ + x² + x + 1, by long division."""
    value = octet << 8
    for shift in range(7, -1, -1):
        if value >> shift + 8 & 1:
            value ^= 0x107 << shift
    return value


_TABLE = bytes(_remainder(octet) for octet in range(256))


def smbus_crc(octets: bytes) -> int:
    """Packet error code, by a table of polynomial remainders."""
    crc = 0
    for octet in octets:
        crc = _TABLE[crc ^ octet]
    return crc
