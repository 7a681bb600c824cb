"""A thermometer with a display: its certified corrections, and what its maker promises elsewhere."""

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError


class ThermometerError(CalibrationError):
    """A thermometer of which nothing is known at a temperature."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedCorrection:
    """One point of its certificate.

    Attributes
    ----------
    shown_c : float
        What it showed. [°C]
    correction_k : float
        To be added to that. [K]
    expanded_u_k : float
        [K]
    """

    shown_c: float
    correction_k: float
    expanded_u_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What to add to a reading.

    Attributes
    ----------
    correction_k : float
        [K]
    standard_u_k : float
        Of the corrected reading, the last digit included. [K]
    is_certified : bool
        False where only the maker's promise is known.
    """

    correction_k: float
    standard_u_k: float
    is_certified: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedThermometer:
    """A thermometer as its certificate and its maker describe it.

    Attributes
    ----------
    resolution_k : float
        Its last digit. [K]
    accuracy_k : float or None
        Maker's limits of error, to either side; None where not known. [K]
    accuracy_percent : float
        The same in percent of the reading in °C; the larger of the two counts. [%]
    points : tuple[CertifiedCorrection, ...]
        Rising in temperature; empty where it has no certificate.
    k : float
        Coverage factor of the certificate.
    """

    resolution_k: float
    accuracy_k: float | None = None
    accuracy_percent: float = 0.0
    points: tuple[CertifiedCorrection, ...] = ()
    k: float = 2.0

    def correction_at(self, shown_c: float) -> Correction:
        """Correction of a reading.

        Within the certificate's points by a straight line from one to the next; how far the truth bends
        away from that line is taken as up to a quarter of the step between them (assumed). Beyond the
        points the maker's limits count, as a rectangle (JCGM 100, 4.3.7), and nothing is corrected.

        Raises
        ------
        ThermometerError
            If neither certificate nor maker says anything there.
        """
        last_digit_u_k = self.resolution_k / math.sqrt(12.0)
        for low, high in zip(self.points, self.points[1:] or self.points, strict=False):
            if low.shown_c <= shown_c <= high.shown_c:
                return self._between(low, high, shown_c, last_digit_u_k)
        if self.accuracy_k is None:
            raise ThermometerError(self._words_outside(shown_c))
        limit_k = max(self.accuracy_k, self.accuracy_percent / 100.0 * abs(shown_c))
        return Correction(
            correction_k=0.0,
            standard_u_k=math.hypot(limit_k / math.sqrt(3.0), last_digit_u_k),
            is_certified=False,
        )

    def _between(
        self, low: CertifiedCorrection, high: CertifiedCorrection, shown_c: float, last_digit_u_k: float
    ) -> Correction:
        span_k = high.shown_c - low.shown_c
        part = (shown_c - low.shown_c) / span_k if span_k > 0.0 else 0.0
        step_k = high.correction_k - low.correction_k
        certified_u_k = ((1.0 - part) * low.expanded_u_k + part * high.expanded_u_k) / self.k
        bend_u_k = abs(step_k) * part * (1.0 - part) / math.sqrt(3.0)
        return Correction(
            correction_k=low.correction_k + part * step_k,
            standard_u_k=math.hypot(certified_u_k, bend_u_k, last_digit_u_k),
            is_certified=True,
        )

    def _words_outside(self, shown_c: float) -> str:
        if not self.points:
            return (
                "Neither a certificate nor its maker's accuracy is known of this thermometer: "
                "write one of them into the register."
            )
        return (
            f"The certificate of this thermometer covers {self.points[0].shown_c:g} to "
            f"{self.points[-1].shown_c:g} °C, and {shown_c:g} °C is outside: write its maker's accuracy into "
            "the register, or read inside that range."
        )
