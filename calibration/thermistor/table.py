"""A published table of resistance and temperature, read between its rows."""

import bisect
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from calibration.errors import CurveError, CurveRangeError
from calibration.temperature_scale import celsius_from_kelvin, kelvin_from_celsius

# The ohms of a temperature at the end of a table may come out beyond its last row by the last binary digits.
_SAME_RESISTANCE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class TableCurve:
    """Monotone cubic interpolation of ``ln R`` over ``1/T`` [1]_; both directions are one function.

    Attributes
    ----------
    temperatures_c : tuple[float, ...]
        Of the rows, rising; two at least. [°C]
    resistances_ohm : tuple[float, ...]
        Of the rows, falling. [Ω]

    Raises
    ------
    CurveError
        If the rows do not rise and fall so, naming the first that does not.

    References
    ----------
    .. [1] F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304 (PCHIP).
    """

    temperatures_c: tuple[float, ...]
    resistances_ohm: tuple[float, ...]
    _inverse_k: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _log_ohm: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _interpolant: Any = field(init=False, repr=False, compare=False)
    _slope: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Check the rows and lay the interpolant through them."""
        self._refuse_disorder()
        inverse_k = tuple(1.0 / kelvin_from_celsius(t) for t in reversed(self.temperatures_c))
        log_ohm = tuple(math.log(r) for r in reversed(self.resistances_ohm))
        interpolant = PchipInterpolator(np.array(inverse_k), np.array(log_ohm))
        object.__setattr__(self, "_inverse_k", inverse_k)
        object.__setattr__(self, "_log_ohm", log_ohm)
        object.__setattr__(self, "_interpolant", interpolant)
        object.__setattr__(self, "_slope", interpolant.derivative())

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature at which the thermistor has ``resistance_ohm``. [°C]

        Raises
        ------
        CurveRangeError
            If the table does not reach that resistance.
        """
        lowest, highest = self.resistances_ohm[-1], self.resistances_ohm[0]
        for printed_ohm, printed_c in ((lowest, self.temperatures_c[-1]), (highest, self.temperatures_c[0])):
            if math.isclose(resistance_ohm, printed_ohm, rel_tol=_SAME_RESISTANCE):
                return printed_c
        if not lowest <= resistance_ohm <= highest:
            raise CurveRangeError(
                f"{resistance_ohm:.6g} Ω is outside the table, which runs from {lowest:g} to {highest:g} Ω.",
                asked=resistance_ohm,
                lowest=lowest,
                highest=highest,
                unit="Ω",
            )
        if resistance_ohm in self.resistances_ohm:
            return self.temperatures_c[self.resistances_ohm.index(resistance_ohm)]
        return celsius_from_kelvin(1.0 / self._inverse_k_at(math.log(resistance_ohm)))

    def resistance_ohm(self, temperature_c: float) -> float:
        """Resistance at ``temperature_c``. [Ω]

        Raises
        ------
        CurveRangeError
            If the table does not reach that temperature.
        """
        lowest, highest = self.temperatures_c[0], self.temperatures_c[-1]
        if not lowest <= temperature_c <= highest:
            raise CurveRangeError(
                f"{temperature_c:.6g} °C is outside the table, which runs from {lowest:g} to {highest:g} °C.",
                asked=temperature_c,
                lowest=lowest,
                highest=highest,
                unit="°C",
            )
        if temperature_c in self.temperatures_c:
            return self.resistances_ohm[self.temperatures_c.index(temperature_c)]
        return math.exp(float(self._interpolant(1.0 / kelvin_from_celsius(temperature_c))))

    def extended_temperature_c(self, resistance_ohm: float) -> float:
        """Like `temperature_c`, and beyond the table on with the beta of its last two rows. [°C]

        The result is infinite where that beta leads to no temperature at all.
        """
        log_ohm = math.log(resistance_ohm)
        if self._log_ohm[0] <= log_ohm <= self._log_ohm[-1]:
            inside = min(max(resistance_ohm, self.resistances_ohm[-1]), self.resistances_ohm[0])
            return self.temperature_c(inside)
        end = 0 if log_ohm < self._log_ohm[0] else -1
        beta_k = self._secant_beta_k(0 if end == 0 else len(self._inverse_k) - 2)
        inverse_k = self._inverse_k[end] + (log_ohm - self._log_ohm[end]) / beta_k
        return celsius_from_kelvin(1.0 / inverse_k) if inverse_k > 0.0 else math.inf

    def sensitivity_k_per_ohm(self, resistance_ohm: float) -> float:
        """Change of temperature with resistance, negative, also beyond the table. [K/Ω]"""
        temperature_c = self.extended_temperature_c(resistance_ohm)
        return -(kelvin_from_celsius(temperature_c) ** 2) / (
            self.local_beta_k(temperature_c) * resistance_ohm
        )

    def local_beta_k(self, temperature_c: float) -> float:
        """Slope of ``ln R`` over ``1/T``; beyond the table that of its last two rows. [K]"""
        inverse_k = 1.0 / kelvin_from_celsius(temperature_c)
        last = len(self._inverse_k) - 2
        segment = min(max(bisect.bisect_right(self._inverse_k, inverse_k) - 1, 0), last)
        secant_k = self._secant_beta_k(segment)
        if not self._inverse_k[0] <= inverse_k <= self._inverse_k[-1]:
            return secant_k
        slope_k = float(self._slope(inverse_k))
        # At the first and last row the interpolant may lie flat where the rows bend sharply; a
        # thermistor never does.
        return slope_k if slope_k > 0.1 * secant_k else secant_k

    def interpolation_doubt_k(self, temperature_c: float) -> float:
        """How far two fair ways of reading between the rows differ; nothing at a row. [K]

        The other way is the polynomial through the four nearest rows.
        """
        if temperature_c in self.temperatures_c:
            return 0.0
        inverse_k = 1.0 / kelvin_from_celsius(temperature_c)
        first = bisect.bisect_right(self._inverse_k, inverse_k) - 2
        first = min(max(first, 0), max(len(self._inverse_k) - 4, 0))
        rows = range(first, min(first + 4, len(self._inverse_k)))
        other = sum(
            self._log_ohm[i]
            * math.prod(
                (inverse_k - self._inverse_k[j]) / (self._inverse_k[i] - self._inverse_k[j])
                for j in rows
                if j != i
            )
            for i in rows
        )
        difference = abs(other - float(self._interpolant(inverse_k)))
        return kelvin_from_celsius(temperature_c) ** 2 / self.local_beta_k(temperature_c) * difference

    def _inverse_k_at(self, log_ohm: float) -> float:
        segment = min(max(bisect.bisect_right(self._log_ohm, log_ohm) - 1, 0), len(self._log_ohm) - 2)
        low, high = self._inverse_k[segment], self._inverse_k[segment + 1]
        if log_ohm <= self._log_ohm[segment]:
            return low
        if log_ohm >= self._log_ohm[segment + 1]:
            return high
        return float(brentq(lambda x: float(self._interpolant(x)) - log_ohm, low, high, xtol=1e-17))

    def _secant_beta_k(self, segment: int) -> float:
        rise = self._log_ohm[segment + 1] - self._log_ohm[segment]
        return rise / (self._inverse_k[segment + 1] - self._inverse_k[segment])

    def _refuse_disorder(self) -> None:
        if len(self.temperatures_c) != len(self.resistances_ohm) or len(self.temperatures_c) < 2:
            raise CurveError("A table needs at least two rows, each with a temperature and a resistance.")
        rows = list(zip(self.temperatures_c, self.resistances_ohm, strict=True))
        for (t_before, r_before), (t, r) in zip(rows, rows[1:], strict=False):
            if not (t > t_before and 0.0 < r < r_before):
                raise CurveError(
                    f"The table does not fall steadily: {r:g} Ω at {t:g} °C follows {r_before:g} Ω at "
                    f"{t_before:g} °C. Compare that row with the document."
                )
