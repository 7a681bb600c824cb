"""A cubic for 1/T over the logarithm of resistance, and its root in closed form."""

import math
from dataclasses import dataclass

from calibration.errors import CurveRangeError


@dataclass(frozen=True, slots=True, kw_only=True)
class InverseCubic:
    """``1/T = c0 + c1 L + c2 L² + c3 L³`` with ``L`` a natural logarithm of resistance.

    Attributes
    ----------
    c0, c1, c2, c3 : float
        Coefficients. [1/K]
    """

    c0: float
    c1: float
    c2: float
    c3: float

    def inverse_k(self, log_ohm: float) -> float:
        """Reciprocal temperature. [1/K]"""
        return self.c0 + log_ohm * (self.c1 + log_ohm * (self.c2 + log_ohm * self.c3))

    def slope(self, log_ohm: float) -> float:
        """Change of 1/T with ``L``; positive for an NTC thermistor. [1/K]"""
        return self.c1 + log_ohm * (2.0 * self.c2 + log_ohm * 3.0 * self.c3)

    def rises_between(self, lowest_log_ohm: float, highest_log_ohm: float) -> bool:
        """Whether 1/T rises with ``L`` all the way between two resistances."""
        candidates = [lowest_log_ohm, highest_log_ohm]
        if self.c3 != 0.0:
            flattest = -self.c2 / (3.0 * self.c3)
            if lowest_log_ohm < flattest < highest_log_ohm:
                candidates.append(flattest)
        return all(self.slope(log_ohm) > 0.0 for log_ohm in candidates)

    def log_ohm(self, inverse_k: float, *, near: float) -> float:
        """Root of the cubic on a rising branch.

        Parameters
        ----------
        inverse_k : float
            Reciprocal temperature. [1/K]
        near : float
            Where two rising branches answer, the one nearer to this ``L`` is meant.

        Raises
        ------
        CurveRangeError
            If no thermistor resistance has that temperature on this curve.

        References
        ----------
        Depressed cubic by hyperbolic and circular functions: Abramowitz and Stegun, Handbook of
        Mathematical Functions, 3.8.2, in the form that does not cancel.
        """
        rising = [root for root in self._roots(inverse_k) if self.slope(root) > 0.0]
        if not rising:
            temperature_c = 1.0 / inverse_k - 273.15
            raise CurveRangeError(
                f"These coefficients give no resistance at {temperature_c:.6g} °C: stay within the range "
                "they were fitted over.",
                asked=temperature_c,
                lowest=-math.inf,
                highest=math.inf,
                unit="°C",
            )
        return self._polished(min(rising, key=lambda root: abs(root - near)), inverse_k)

    def _roots(self, inverse_k: float) -> list[float]:
        if abs(self.c3) < 1e-9 * abs(self.c1):
            return self._quadratic_roots(inverse_k)
        shift = self.c2 / (3.0 * self.c3)
        p = self.c1 / self.c3 - 3.0 * shift**2
        q = (self.c0 - inverse_k) / self.c3 - self.c1 / self.c3 * shift + 2.0 * shift**3
        return [root - shift for root in _depressed_cubic_roots(p, q)]

    def _quadratic_roots(self, inverse_k: float) -> list[float]:
        constant = self.c0 - inverse_k
        if self.c2 == 0.0:
            return [-constant / self.c1] if self.c1 != 0.0 else []
        discriminant = self.c1**2 - 4.0 * self.c2 * constant
        if discriminant < 0.0:
            return []
        half = -0.5 * (self.c1 + math.copysign(math.sqrt(discriminant), self.c1))
        return [half / self.c2, constant / half] if half != 0.0 else [0.0]

    def _polished(self, root: float, inverse_k: float) -> float:
        # The closed form loses a few digits where the coefficients differ by many decades; two Newton
        # steps from there give them back.
        for _ in range(2):
            root -= (self.inverse_k(root) - inverse_k) / self.slope(root)
        return root


def _depressed_cubic_roots(p: float, q: float) -> list[float]:
    """Real roots of ``x³ + p x + q``."""
    if p == 0.0:
        return [-math.copysign(abs(q) ** (1.0 / 3.0), q)]
    scale = 2.0 * math.sqrt(abs(p) / 3.0)
    argument = 3.0 * q / (abs(p) * scale)
    if p > 0.0:
        return [-scale * math.sinh(math.asinh(argument) / 3.0)]
    if abs(argument) > 1.0:
        return [-math.copysign(scale, q) * math.cosh(math.acosh(abs(argument)) / 3.0)]
    angle = math.acos(-argument) / 3.0
    return [scale * math.cos(angle - 2.0 * math.pi * turn / 3.0) for turn in range(3)]
