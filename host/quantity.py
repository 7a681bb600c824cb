"""Quantities as people write them on a command line: ``90C``, ``194F``, ``2.45k``, ``1013hPa``, ``1500m``.

Strict: a number, and the unit where one is needed. What cannot be read is refused in words.
"""

import math
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Final

import click

from calibration.bath.atmosphere import refuse_unlikely_altitude
from calibration.bath.fixed_points import refuse_unlikely_pressure
from calibration.errors import CalibrationError
from calibration.temperature_scale import ZERO_CELSIUS_K, celsius_from_fahrenheit
from calibration.thermistor.fit_point import FitPoint
from host.errors import DeskError
from host.points_file import HIGHEST_TYPED_OHM, HOTTEST_TYPED_C

_WRITTEN = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s.,+-][^\d\s.,]*)?", re.ASCII)
# 2k45: the letter in place of the point, as on a part (IEC 60062).
_LETTER_FOR_POINT = re.compile(r"(\d+)([kKM])(\d+)", re.ASCII)

_OHM: Final[Mapping[str, float]] = {
    "": 1.0, "ohm": 1.0, "Ohm": 1.0, "Ω": 1.0, "k": 1e3, "K": 1e3, "kohm": 1e3, "kOhm": 1e3, "kΩ": 1e3,
    "M": 1e6, "Mohm": 1e6, "MOhm": 1e6, "MΩ": 1e6,
}  # fmt: skip
# Inch of mercury at 0 °C: 3386.389 Pa (NIST Special Publication 811, appendix B).
_PASCAL: Final[Mapping[str, float]] = {
    "Pa": 1.0, "hPa": 100.0, "kPa": 1000.0, "mbar": 100.0, "bar": 1e5, "inHg": 3386.389,
}  # fmt: skip
_METRE: Final[Mapping[str, float]] = {"m": 1.0, "km": 1000.0, "ft": 0.3048}


class QuantityError(DeskError):
    """A quantity that cannot be read as it is written.

    Attributes
    ----------
    text : str
        As it was written.
    """

    def __init__(self, text: str, message: str) -> None:
        shown = text if len(text) <= 24 else f"{text[:24]}…"
        super().__init__(f"{shown!r}: {message}")
        self.text = text


def temperature_c_of(text: str) -> float:
    """Temperature written ``90C``, ``90°C`` or ``194F``. [°C]

    Raises
    ------
    QuantityError
        If it is not written so, has no unit, or is no temperature of a bath or an engine.
    """
    number, unit = _number_and_unit(text, "a temperature", "90C or 194F")
    unit = unit.removeprefix("°").removeprefix("º").upper()
    if unit not in {"C", "F"}:
        said = "has no unit" if not unit else f"has a unit that is not read here ({unit})"
        raise QuantityError(text, f"the temperature {said}. Write 90C or 194F.")
    temperature_c = celsius_from_fahrenheit(number) if unit == "F" else number
    if not temperature_c > -ZERO_CELSIUS_K:
        raise QuantityError(text, "is below absolute zero. Check the sign and the unit.")
    if not temperature_c <= HOTTEST_TYPED_C:
        raise QuantityError(text, f"is above {HOTTEST_TYPED_C:g} °C. Check the number and the unit.")
    return temperature_c


def resistance_ohm_of(text: str) -> float:
    """Resistance written ``2450``, ``2.45k``, ``2k45``, ``2.45kΩ`` or ``322ohm``. [Ω]

    Raises
    ------
    QuantityError
        If it is not written so, is not above zero, or is an open circuit.
    """
    letter = _LETTER_FOR_POINT.fullmatch(_tidy(text))
    if letter:
        number, unit = float(f"{letter[1]}.{letter[3]}"), letter[2]
    else:
        number, unit = _number_and_unit(text, "a resistance", "2450 or 2.45k")
    resistance_ohm = number * _factor(text, unit, _OHM, "the resistance", "2450 or 2.45k")
    if not resistance_ohm > 0.0:
        raise QuantityError(text, "is no resistance: it must be above zero. Measure again.")
    if not resistance_ohm <= HIGHEST_TYPED_OHM:
        raise QuantityError(text, "is an open circuit. Check the leads and the unit.")
    return resistance_ohm


def written_ohm_of(text: str) -> str:
    """The same resistance in ohms with the digits that were written: ``2.45k`` is ``2.45E+3``, not 2450.0.

    Raises
    ------
    QuantityError
        As `resistance_ohm_of`.
    """
    resistance_ohm_of(text)
    letter = _LETTER_FOR_POINT.fullmatch(_tidy(text))
    if letter:
        number, unit = f"{letter[1]}.{letter[3]}", letter[2]
    else:
        match = _WRITTEN.fullmatch(_tidy(text))
        assert match is not None  # it was read above
        number, unit = match[1], match[2] or ""
    return str(Decimal(number).scaleb(round(math.log10(_OHM[unit]))))


def emissivity_of(text: str) -> float:
    """Emissivity written ``0.95``.

    Raises
    ------
    QuantityError
        If it is not a plain number above 0 and at most 1.
    """
    number, unit = _number_and_unit(text, "an emissivity", "0.95")
    if unit or not 0.0 < number <= 1.0:
        raise QuantityError(text, "an emissivity is a plain number above 0 and at most 1. Write 0.95.")
    return number


def pressure_pa_of(text: str) -> float:
    """Air pressure written ``1013hPa``, ``95kPa``, ``1013mbar`` or ``29.92inHg``. [Pa]

    Raises
    ------
    QuantityError
        If it is not written so, or no barometer on the ground has shown it.
    """
    number, unit = _number_and_unit(text, "a pressure", "1013hPa or 95kPa")
    pressure_pa = number * _factor(text, unit, _PASCAL, "the pressure", "1013hPa or 95kPa")
    _refused_by(text, refuse_unlikely_pressure, pressure_pa / 1000.0)
    return pressure_pa


def altitude_m_of(text: str) -> float:
    """Altitude above the sea written ``1500m``, ``1.5km`` or ``4900ft``. [m]

    Raises
    ------
    QuantityError
        If it is not written so, or no shop stands there.
    """
    number, unit = _number_and_unit(text, "an altitude", "1500m or 4900ft")
    altitude_m = number * _factor(text, unit, _METRE, "the altitude", "1500m or 4900ft")
    _refused_by(text, refuse_unlikely_altitude, altitude_m)
    return altitude_m


def point_of(text: str) -> FitPoint:
    """Measured point written ``20C:2.45k``: temperature, colon, resistance.

    Raises
    ------
    QuantityError
        If either half cannot be read; its message says which.
    """
    temperature, colon, resistance = text.partition(":")
    if not colon or ":" in resistance:
        raise QuantityError(text, "a point is a temperature and a resistance. Write 20C:2.45k.")
    return FitPoint(temperature_c=temperature_c_of(temperature), resistance_ohm=resistance_ohm_of(resistance))


class QuantityType(click.ParamType):
    """A quantity as the type of a command's option: ``type=QuantityType("temperature", temperature_c_of)``.

    Parameters
    ----------
    name : str
        What the help calls it.
    read : callable
        One of the functions of this module.
    """

    def __init__(self, name: str, read: Callable[[str], Any]) -> None:
        self.name = name
        self._read = read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read what was typed; what was read already stays."""
        if not isinstance(value, str):
            return value
        try:
            return self._read(value)
        except QuantityError as error:
            self.fail(str(error), param, ctx)


TEMPERATURE = QuantityType("temperature", temperature_c_of)
RESISTANCE = QuantityType("resistance", resistance_ohm_of)
EMISSIVITY = QuantityType("emissivity", emissivity_of)
PRESSURE = QuantityType("pressure", pressure_pa_of)
ALTITUDE = QuantityType("altitude", altitude_m_of)
POINT = QuantityType("point", point_of)


def _refused_by(text: str, refuse: Callable[[float], None], value: float) -> None:
    """Refuse what the calibration itself would, in its words, with what was typed."""
    try:
        refuse(value)
    except CalibrationError as error:
        raise QuantityError(text, str(error)) from error


def _tidy(text: str) -> str:
    # A typographic minus is a minus, the ohm sign a capital omega, a fixed space a space.
    return text.strip().replace("\N{MINUS SIGN}", "-").replace("\N{OHM SIGN}", "Ω").replace("\xa0", " ")


def _number_and_unit(text: str, what: str, example: str) -> tuple[float, str]:
    written = _tidy(text)
    match = _WRITTEN.fullmatch(written)
    if match is None:
        comma = " Write decimals with a point and thousands without a comma." if "," in written else ""
        raise QuantityError(text, f"is not {what} as it is read here.{comma} Write it like {example}.")
    return float(match[1]), match[2] or ""


def _factor(text: str, unit: str, known: Mapping[str, float], what: str, example: str) -> float:
    if unit not in known:
        said = "has no unit" if not unit else f"has a unit that is not read here ({unit})"
        raise QuantityError(text, f"{what} {said}. Write it like {example}.")
    return known[unit]
