"""A thermometer with a display: its certified corrections, and what its maker promises elsewhere."""

import math
from dataclasses import dataclass
from enum import StrEnum

from calibration.errors import CalibrationError
from calibration.rounding import limit_text

#: How far beyond its end a certificate still speaks: half of the step next to it, 10 K at most. Assumed.
#: [1], [K]
REACH_OF_STEP, MOST_REACH_K = 0.5, 10.0


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


class Basis(StrEnum):
    """What a correction rests on."""

    CERTIFIED = "certified"
    HELD = "held"  # just beyond the certificate: that of its end, less sure
    MAKER = "maker"  # no certificate there: its maker's limits, nothing corrected


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What to add to a reading.

    Attributes
    ----------
    correction_k : float
        [K]
    standard_u_k : float
        Of the corrected reading, the last digit included. [K]
    basis : Basis
    words : str
        Why it is not certified there; empty where it is.
    """

    correction_k: float
    standard_u_k: float
    basis: Basis
    words: str = ""

    @property
    def is_certified(self) -> bool:
        """False where no point of a certificate stands on each side."""
        return self.basis is Basis.CERTIFIED


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
        away from that line is taken as up to a quarter of the step between them (assumed).

        Beyond an end, up to half of the step next to it and 10 K at most, the correction of the end is held.
        It may go on as steeply as the steepest step between two points does, with what their U leaves open:
        a rectangle (JCGM 100, 4.3.7) as wide as that. Farther out its maker's limits count and nothing is
        corrected, unless a certified point lies outside of them: such a promise is broken everywhere.

        Raises
        ------
        ThermometerError
            If neither certificate nor maker says anything there.
        """
        for low, high in zip(self.points, self.points[1:] or self.points, strict=False):
            if low.shown_c <= shown_c <= high.shown_c:
                return self._between(low, high, shown_c)
        if self.points and self._beyond_k(shown_c) <= self._reach_k(shown_c):
            return self._held(shown_c)
        limit_k = self.limit_at_k(shown_c)
        if limit_k is None or self._broken_promise is not None:
            raise ThermometerError(self._words_of_refusal(shown_c))
        limit = limit_text(limit_k, stated_places=0, derived_places=0)
        return Correction(
            correction_k=0.0,
            standard_u_k=math.hypot(limit_k / math.sqrt(3.0), self._last_digit_u_k),
            basis=Basis.MAKER,
            words=self._words_outside(f"its maker's ±{limit} K, nothing corrected")
            if self.points
            else f"by its maker's ±{limit} K",
        )

    def limit_at_k(self, shown_c: float) -> float | None:
        """Largest error that its maker allows, None where none is known. [K]"""
        if self.accuracy_k is None:
            return None
        return max(self.accuracy_k, self.accuracy_percent / 100.0 * abs(shown_c))

    @property
    def _last_digit_u_k(self) -> float:
        return self.resolution_k / math.sqrt(12.0)

    def _between(self, low: CertifiedCorrection, high: CertifiedCorrection, shown_c: float) -> Correction:
        span_k = high.shown_c - low.shown_c
        part = (shown_c - low.shown_c) / span_k if span_k > 0.0 else 0.0
        step_k = high.correction_k - low.correction_k
        certified_u_k = ((1.0 - part) * low.expanded_u_k + part * high.expanded_u_k) / self.k
        bend_u_k = abs(step_k) * part * (1.0 - part) / math.sqrt(3.0)
        return Correction(
            correction_k=low.correction_k + part * step_k,
            standard_u_k=math.hypot(certified_u_k, bend_u_k, self._last_digit_u_k),
            basis=Basis.CERTIFIED,
        )

    def _held(self, shown_c: float) -> Correction:
        end = self._end(shown_c)
        half_width_k = self._beyond_k(shown_c) * self._steepest
        return Correction(
            correction_k=end.correction_k,
            standard_u_k=math.hypot(
                end.expanded_u_k / self.k, half_width_k / math.sqrt(3.0), self._last_digit_u_k
            ),
            basis=Basis.HELD,
            words=self._words_outside(f"the correction at {end.shown_c:.1f} °C, less sure"),
        )

    def _end(self, shown_c: float) -> CertifiedCorrection:
        """The certified point next to a reading beyond them all."""
        return self.points[0] if shown_c < self.points[0].shown_c else self.points[-1]

    def _beyond_k(self, shown_c: float) -> float:
        return abs(shown_c - self._end(shown_c).shown_c)

    def _reach_k(self, shown_c: float) -> float:
        """How far beyond that end its correction is held; not at all where no step tells its slope. [K]"""
        if len(self.points) == 1:
            return 0.0
        pair = self.points[:2] if shown_c < self.points[0].shown_c else self.points[-2:]
        return min(REACH_OF_STEP * (pair[1].shown_c - pair[0].shown_c), MOST_REACH_K)

    @property
    def _steepest(self) -> float:
        """Steepest step between two points, with what their U leaves open. [K/K]"""
        return max(
            (abs(high.correction_k - low.correction_k) + max(low.expanded_u_k, high.expanded_u_k))
            / (high.shown_c - low.shown_c)
            for low, high in zip(self.points, self.points[1:], strict=False)
        )

    @property
    def _broken_promise(self) -> CertifiedCorrection | None:
        """A certified point outside of its maker's limits: they are no promise then."""
        for point in self.points:
            limit_k = self.limit_at_k(point.shown_c)
            if limit_k is not None and abs(point.correction_k) > limit_k:
                return point
        return None

    @property
    def certified_range(self) -> str:
        """From where to where its certificate holds, in words; it must have one."""
        return f"certified from {self.points[0].shown_c:.1f} to {self.points[-1].shown_c:.1f} °C"

    def _words_outside(self, what_counts: str) -> str:
        return f"not certified there ({self.certified_range}): {what_counts}"

    def _words_of_refusal(self, shown_c: float) -> str:
        if not self.points:
            return (
                "Neither a certificate nor its maker's accuracy is known of this thermometer: "
                "write one of them into the register."
            )
        reach_k = self._reach_k(shown_c)
        outside = f"This thermometer is {self.certified_range}, and {shown_c:g} °C is "
        outside += f"more than {reach_k:g} K outside" if reach_k else "outside"
        broken = self._broken_promise
        if broken is None:
            return (
                f"{outside}: write its maker's accuracy into the register, read nearer to that range, or "
                "have it certified there."
            )
        return (
            f"{outside}. Its maker's limits do not help: at {broken.shown_c:.1f} °C its certificate corrects "
            f"by {broken.correction_k:+.1f} K, more than they allow. Read nearer to that range, or have it "
            "certified there."
        )
