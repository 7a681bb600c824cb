"""A successive-approximation converter as its data sheet grades it, and chips drawn from that grade."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]

#: Codes of a 12-bit converter.
CODES = 4096

# How a chip departs from the straight line, before it is scaled to its grade. Assumed, for data sheets give
# only its largest size: a bow of four harmonics, steps where high bits change, a little of each code's own.
_HARMONICS = (1, 2, 3, 4)
_STEPPING_BITS = (11, 10, 9, 8, 7)
_STEP_SD_LSB = 0.12
_CODE_SD_LSB = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class ConverterGrade:
    """What a data sheet grants a converter.

    Attributes
    ----------
    name : str
    typical_inl_lsb, largest_inl_lsb : float
        Departure of a code's threshold from the straight line. [LSB]
    offset_lsb : float
        Typical offset. [LSB]
    leakage_a : float
        Largest leakage of an input that is assumed here. [A]
    roughness : float
        How much of the departure is local, against the assumed shape; a quadratic cannot take that up.
    """

    name: str
    typical_inl_lsb: float
    largest_inl_lsb: float
    offset_lsb: float
    leakage_a: float
    roughness: float = 1.0

    def draw_thresholds(self, chance: np.random.Generator) -> Vector:
        """Input at which each code from 1 on begins, for one chip of the grade.

        The largest departure is drawn evenly from half the typical to the largest figure.

        Returns
        -------
        ndarray, shape (4095,)
            Never falling. [LSB]
        """
        codes = np.arange(CODES)
        place = codes / CODES
        departure = chance.normal(0.0, _CODE_SD_LSB * self.roughness, CODES)
        for order in _HARMONICS:
            departure += chance.normal() / order * np.sin(np.pi * order * place)
        for bit in _STEPPING_BITS:
            departure += chance.normal(0.0, _STEP_SD_LSB * self.roughness) * ((codes >> bit & 1) - 0.5)
        departure -= departure[0] + (departure[-1] - departure[0]) * place
        departure *= chance.uniform(0.5 * self.typical_inl_lsb, self.largest_inl_lsb) / np.max(
            np.abs(departure)
        )
        thresholds = codes - 0.5 + departure + chance.uniform(-self.offset_lsb, self.offset_lsb)
        monotone: Vector = np.maximum.accumulate(thresholds)[1:]
        return monotone


# INL and offset as printed in the MCP3204/3208 data sheet DS21298E; the leakage there is ±1 µA at most and
# 1 nA typically (from memory), and 10 nA is assumed for a warm chip.
B_GRADE = ConverterGrade(
    name="MCP3208, B grade", typical_inl_lsb=0.75, largest_inl_lsb=1.0, offset_lsb=1.25, leakage_a=10e-9
)
C_GRADE = ConverterGrade(
    name="MCP3208, C grade", typical_inl_lsb=1.0, largest_inl_lsb=2.0, offset_lsb=1.25, leakage_a=10e-9
)
