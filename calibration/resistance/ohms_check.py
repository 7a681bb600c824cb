"""The ohms check: known resistances in place of the device, and the correction they give.

The correction is a quadratic in the ratio count. It takes up a wrong reference resistor, whose
effect is proportional to x (1 - x), exactly to first order, and the bow of the converter; what
it leaves is the converter's local nonlinearity, which stays as an uncertainty.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.resistance.three_tap import (
    FULL_SCALE_COUNT,
    ohm_per_count,
    ratio_count,
    resistance_from_ratio_count,
)
from calibration.uncertainty.budget import rectangular_u

#: A range is checked at no fewer settings than this, or the quadratic has nothing to be judged by.
FEWEST_SETTINGS = 7

#: Largest correction of a sound range, relative to R: 0.1 % reference, 0.1 % temperature, 1 LSB bow. [1]
LARGEST_CORRECTION = 0.006

#: Largest remainder at one setting after correction. Beyond it a relay or a joint is at fault. [count]
LARGEST_REMAINDER_COUNT = 4.0

#: What the quadratic may miss beyond the settings that it was fitted to, half-width, reached this far beyond
#: and growing up to there. Of 400 drawn benches without it, 2 u held the truth in 92 % at 12.5 kΩ and in 87 %
#: at 15 kΩ on the 2700 Ω range, where a box of 9999 Ω ends the check. Chosen so that drawn benches
#: are held. [count]
BEYOND_COUNT, BEYOND_WITHIN_COUNT = 0.4, 123.0

_PARAMETERS = 3


class OhmsCheckError(ValueError):
    """The resistance channel cannot be trusted; the run stops here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxReading:
    """Mean ratio count of one setting of the decade box.

    Attributes
    ----------
    setting_ohm : int
        Nominal setting. [Ω]
    count : float
        Mean ratio count, 4096 x. [count]
    """

    setting_ohm: int
    count: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeCorrection:
    """Quadratic correction of one range, with its covariance.

    Attributes
    ----------
    reference_ohm : float
        Nominal reference resistor; a wrong one is in the coefficients. [Ω]
    coefficients : tuple[float, float, float]
        Of ``1, z, z^2`` with ``z = 2 x - 1``. [count]
    covariance : tuple[tuple[float, ...], ...]
        Of the coefficients, from what the fit left. [count^2]
    remainder_count : float
        Standard deviation of what the fit left, n - 3 degrees of freedom. [count]
    degrees_of_freedom : int
    lowest_ohm, highest_ohm : float
        Span that was checked. [Ω]
    """

    reference_ohm: float
    coefficients: tuple[float, float, float]
    covariance: tuple[tuple[float, ...], ...]
    remainder_count: float
    degrees_of_freedom: int
    lowest_ohm: float
    highest_ohm: float

    def corrected_ohm(self, count: float) -> float:
        """Resistance of a ratio count, corrected. [Ω]"""
        return resistance_from_ratio_count(self.corrected_count(count), self.reference_ohm)

    def corrected_count(self, count: float) -> float:
        """Ratio count that a perfect range would have given. [count]"""
        terms = correction_terms(count)
        return count + sum(c * t for c, t in zip(self.coefficients, terms, strict=True))

    def standard_u_ohm(self, count: float) -> float:
        """Standard uncertainty of `corrected_ohm` from the correction and the local nonlinearity. [Ω]

        Beyond the settings that were checked it is larger by what the quadratic may miss there.
        """
        terms = np.array(correction_terms(count))
        of_fit = float(terms @ np.array(self.covariance) @ terms)
        u_count = math.hypot(math.sqrt(of_fit), self.remainder_count, self._beyond_u_count(count))
        return u_count * ohm_per_count(count, self.reference_ohm)

    def _beyond_u_count(self, count: float) -> float:
        lowest, highest = (
            float(ratio_count(ohm, self.reference_ohm)) for ohm in (self.lowest_ohm, self.highest_ohm)
        )
        beyond = max(lowest - count, count - highest, 0.0)
        return rectangular_u(BEYOND_COUNT * min(1.0, beyond / BEYOND_WITHIN_COUNT))


def settings_for(reference_ohm: float, certificate: DecadeBoxCertificate) -> tuple[int, ...]:
    """Settings that cover a range evenly in the ratio, within what box and range can do. [Ω]

    Raises
    ------
    ValueError
        If the box is too small for the range.
    """
    lowest = 0.17
    highest = min(0.83, certificate.highest_ohm / (certificate.highest_ohm + reference_ohm))
    ratios = np.linspace(lowest, highest, FEWEST_SETTINGS)
    settings = sorted({int(reference_ohm * x / (1.0 - x)) for x in ratios})
    if len(settings) < FEWEST_SETTINGS:
        raise ValueError(
            f"This decade box cannot give {FEWEST_SETTINGS} settings on the {reference_ohm:g} Ω range."
        )
    return tuple(settings)


def correction_from_box(
    readings: Sequence[BoxReading], *, reference_ohm: float, certificate: DecadeBoxCertificate
) -> RangeCorrection:
    """Correction of a range from settings of the decade box.

    Parameters
    ----------
    readings : sequence of BoxReading
        Seven settings or more on this range.
    reference_ohm : float
        Nominal reference resistor. [Ω]
    certificate : DecadeBoxCertificate
        True values of the box.

    Raises
    ------
    OhmsCheckError
        If there are too few settings, or the range is out of its limit.
    """
    if len({reading.setting_ohm for reading in readings}) < FEWEST_SETTINGS:
        raise OhmsCheckError(
            f"The ohms check needs {FEWEST_SETTINGS} different settings on the {reference_ohm:g} Ω range. "
            "Run it again."
        )
    counts = np.array([reading.count for reading in readings])
    true_ohm = np.array([certificate.true_ohm(reading.setting_ohm) for reading in readings])
    wanted = ratio_count(true_ohm, reference_ohm) - counts  # type: ignore[arg-type]
    _refuse_gross(counts, true_ohm, reference_ohm, readings)
    design = np.array([correction_terms(count) for count in counts])
    solution, *_ = np.linalg.lstsq(design, wanted, rcond=None)
    left = wanted - design @ solution
    _refuse_remainder(left, reference_ohm, readings)
    degrees = len(readings) - _PARAMETERS
    variance = float(left @ left) / degrees
    covariance = np.linalg.inv(design.T @ design) * variance
    return RangeCorrection(
        reference_ohm=reference_ohm,
        coefficients=(float(solution[0]), float(solution[1]), float(solution[2])),
        covariance=tuple(tuple(float(cell) for cell in row) for row in covariance),
        remainder_count=math.sqrt(variance),
        degrees_of_freedom=degrees,
        lowest_ohm=float(true_ohm.min()),
        highest_ohm=float(true_ohm.max()),
    )


def correction_terms(count: float) -> tuple[float, float, float]:
    """Terms ``1, z, z^2`` of the correction at a ratio count, ``z = 2 x - 1``."""
    z = 2.0 * count / FULL_SCALE_COUNT - 1.0
    return 1.0, z, z * z


def _refuse_gross(
    counts: np.ndarray, true_ohm: np.ndarray, reference_ohm: float, readings: Sequence[BoxReading]
) -> None:
    for reading, count, true in zip(readings, counts, true_ohm, strict=True):
        shown = resistance_from_ratio_count(float(count), reference_ohm)
        if abs(shown / true - 1.0) > LARGEST_CORRECTION:
            raise OhmsCheckError(
                f"The bench reads {shown:.1f} Ω where the decade box holds {true:.1f} Ω (setting "
                f"{reading.setting_ohm} Ω, {reference_ohm:g} Ω range); the limit is "
                f"{LARGEST_CORRECTION:.1%}. Look at the box's plug and relays, then run the check again."
            )


def _refuse_remainder(left: np.ndarray, reference_ohm: float, readings: Sequence[BoxReading]) -> None:
    worst = int(np.argmax(np.abs(left)))
    if abs(left[worst]) > LARGEST_REMAINDER_COUNT:
        raise OhmsCheckError(
            f"Setting {readings[worst].setting_ohm} Ω of the decade box stands {abs(left[worst]):.1f} counts "
            f"off the others on the {reference_ohm:g} Ω range; the limit is {LARGEST_REMAINDER_COUNT:g}. "
            "One of its relays may be sticking: run the check again."
        )
