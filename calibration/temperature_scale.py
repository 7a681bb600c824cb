"""The temperature scales of the bench: °C inside, °F at the edge, kelvin in the formulas."""

#: 0 °C on the Kelvin scale, exactly (SI brochure, 9th edition, 2.3.1). [K]
ZERO_CELSIUS_K = 273.15
#: A difference of one kelvin in degrees Fahrenheit, exactly.
FAHRENHEIT_PER_K = 1.8


def kelvin_from_celsius(temperature_c: float) -> float:
    """Thermodynamic temperature of ``temperature_c``. [K]"""
    return temperature_c + ZERO_CELSIUS_K


def celsius_from_kelvin(temperature_k: float) -> float:
    """Celsius temperature of ``temperature_k``. [°C]"""
    return temperature_k - ZERO_CELSIUS_K


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Celsius temperature of ``temperature_f``. [°C]"""
    return (temperature_f - 32.0) * 5.0 / 9.0


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Fahrenheit temperature of ``temperature_c``. [°F]"""
    return temperature_c * 9.0 / 5.0 + 32.0
