"""A resistance meter as its certificate gives it."""

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError


class OhmmeterError(CalibrationError):
    """A reading that the certificate of the meter says nothing of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedReading:
    """One point of the certificate: what it showed, what is to be added, and U of that. [Ω]"""

    shown_ohm: float
    correction_ohm: float
    expanded_u_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterCorrection:
    """What is to be added to a reading, and its standard uncertainty. [Ω]"""

    correction_ohm: float
    standard_u_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ohmmeter:
    """A resistance meter.

    Attributes
    ----------
    points : tuple[CertifiedReading, ...]
        Rising in resistance.
    k : float
        Coverage factor of the certificate.
    """

    points: tuple[CertifiedReading, ...]
    k: float

    def correction_at(self, shown_ohm: float) -> MeterCorrection:
        """Correction of a reading inside the certificate's points.

        Meters err in proportion: relative corrections go straight from one point to the next over the
        logarithm of the resistance. How far the truth bends away is taken as up to a quarter of the step
        (assumed).

        Raises
        ------
        OhmmeterError
            If the reading lies outside.
        """
        for low, high in zip(self.points, self.points[1:] or self.points, strict=False):
            if low.shown_ohm <= shown_ohm <= high.shown_ohm:
                return self._between(low, high, shown_ohm)
        lowest, highest = self.points[0].shown_ohm, self.points[-1].shown_ohm
        raise OhmmeterError(
            f"The meter's certificate covers {lowest:g} to {highest:g} Ω, and {shown_ohm:g} Ω is outside: "
            "leave that value out, or have the meter calibrated there."
        )

    def near_zero(self) -> MeterCorrection:
        """Of a reading below the lowest point, as leads have it: not corrected, sure as the lowest point."""
        lowest = self.points[0]
        return MeterCorrection(
            correction_ohm=0.0,
            standard_u_ohm=math.hypot(
                lowest.expanded_u_ohm / self.k, abs(lowest.correction_ohm) / math.sqrt(3.0)
            ),
        )

    def _between(self, low: CertifiedReading, high: CertifiedReading, shown_ohm: float) -> MeterCorrection:
        span = math.log(high.shown_ohm / low.shown_ohm)
        part = math.log(shown_ohm / low.shown_ohm) / span if span > 0.0 else 0.0
        step = high.correction_ohm / high.shown_ohm - low.correction_ohm / low.shown_ohm
        correction = low.correction_ohm / low.shown_ohm + part * step
        certified_u = (
            (1.0 - part) * low.expanded_u_ohm / low.shown_ohm + part * high.expanded_u_ohm / high.shown_ohm
        ) / self.k
        bend_u = abs(step) * part * (1.0 - part) / math.sqrt(3.0)
        return MeterCorrection(
            correction_ohm=correction * shown_ohm,
            standard_u_ohm=math.hypot(certified_u, bend_u) * shown_ohm,
        )
