"""How an NTC may run where a curve prints nothing: between few rows, and beyond its ends.

Over ``x = 1/T`` the logarithm of an NTC's resistance is nearly a parabola: ``ln R = ln R25 + beta (x - x25)
+ curvature (x - x25)²/2``. Few numbers describe senders at large, and how they scatter is measured on
published tables. With the printed rows of a curve known, what is left open is this scatter given the rows
(universal kriging [1]_): nothing to speak of at a row, little between rows, ever more beyond them.

References
----------
.. [1] C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning (2006), equations 2.23,
   2.24 and section 2.7.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.measured_points import Matrix, Vector
from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor.beta import REFERENCE_K

# Senders at large: R25 from some hundred ohms to some ten kilohms, beta as ceramics have it. The middle and
# the standard deviation of ln R25 and of beta are assumed. [Ω], [K]
_USUAL_R25_OHM, _LOG_R25_SPREAD = 3000.0, 1.5
_USUAL_BETA_K, _BETA_SPREAD_K = 3600.0, 400.0
#: Change of beta over 1/T, middle and standard deviation. Parabolas through five makers' tables and a set of
#: printed coefficients (2.5 kΩ, 15 kΩ, 10 kΩ of two kinds, EPCOS 8016 and 8018) have -2.8 to -4.3 over all of
#: -40 to 130 °C and -2.7 to -5.2 over 20 to 80 °C alone, times 10⁵ K². [K²]
USUAL_CURVATURE_K2, CURVATURE_SPREAD_K2 = -3.4e5, 0.8e5
#: How far rows lie off their parabola, smoothly over some 20 K: rms 0.02 to 0.5 % in those tables, 1 % in the
#: tables `ntc-290-110c` and `ntc-160-60c` and in the middles of the limits of `ntc-310-80c`. [1], [K]
OFF_THE_PARABOLA, SMOOTH_OVER_K = 0.01, 20.0
#: Rows are printed with two or three digits, standard deviation. [1]
ROUNDED_ROW = 0.003

# Rows that stand for printed coefficients. [K]
_COEFFICIENT_STEP_K = 10.0
# The slope is taken over twice this. [K]
_SLOPE_STEP_K = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """``ln R`` of an NTC at n temperatures, as far as it is known.

    Attributes
    ----------
    log_ohm : Vector, shape (n,)
        Expected. [ln Ω]
    slope_per_k : Vector, shape (n,)
        Of that over temperature, negative. [1/K]
    covariance : Matrix, shape (n, n)
        Of ``log_ohm``. [1]
    """

    log_ohm: Vector
    slope_per_k: Vector
    covariance: Matrix


def course_at_large(temperature_c: Vector) -> Course:
    """Course of an NTC sender of which nothing is known.

    Parameters
    ----------
    temperature_c : Vector, shape (n,)
        [°C]
    """
    return Course(
        log_ohm=_usual(temperature_c),
        slope_per_k=_slope_per_k(_usual, temperature_c),
        covariance=_between(temperature_c, temperature_c),
    )


def course_of(curve: ReferenceCurve, temperature_c: Vector) -> Course:
    """Course of an NTC of which the printed rows of a curve are known.

    Parameters
    ----------
    curve : ReferenceCurve
        Printed coefficients count as rows every 10 K of their range.
    temperature_c : Vector, shape (n,)
        Also between the rows and beyond them. [°C]
    """
    row_c, surprise = _rows(curve)
    of_rows = _between(row_c, row_c) + ROUNDED_ROW**2 * np.eye(row_c.size)
    pull = np.linalg.solve(of_rows, surprise)

    def expected(at_c: Vector) -> Vector:
        return _usual(at_c) + _between(at_c, row_c) @ pull

    across = _between(temperature_c, row_c)
    known = across @ np.linalg.solve(of_rows, across.T)
    covariance = _between(temperature_c, temperature_c) - 0.5 * (known + known.T)
    return Course(
        log_ohm=expected(temperature_c),
        slope_per_k=_slope_per_k(expected, temperature_c),
        covariance=covariance,
    )


@lru_cache(maxsize=64)
def _rows(curve: ReferenceCurve) -> tuple[Vector, Vector]:
    """Temperatures of a curve's rows, and how far ``ln R`` there is from the usual."""
    if curve.rows:
        row_c = np.array(curve.printed_temperatures_c)
        ohm = np.array([row.resistance_ohm for row in curve.rows])
    else:
        steps = round((curve.valid_to_c - curve.valid_from_c) / _COEFFICIENT_STEP_K)
        row_c = np.linspace(curve.valid_from_c, curve.valid_to_c, max(steps, 2) + 1)
        ohm = np.array([curve.nominal_ohm(t) for t in row_c.tolist()])
    return row_c, np.log(ohm) - _usual(row_c)


def _slope_per_k(log_ohm: Callable[[Vector], Vector], temperature_c: Vector) -> Vector:
    rise = log_ohm(temperature_c + _SLOPE_STEP_K) - log_ohm(temperature_c - _SLOPE_STEP_K)
    return rise / (2.0 * _SLOPE_STEP_K)


def _usual(temperature_c: Vector) -> Vector:
    per_beta = _per_beta(temperature_c)
    usual: Vector = (
        np.log(_USUAL_R25_OHM) + _USUAL_BETA_K * per_beta + 0.5 * USUAL_CURVATURE_K2 * per_beta * per_beta
    )
    return usual


def _between(one_c: Vector, other_c: Vector) -> Matrix:
    """Covariance of ``ln R`` of one NTC between two sets of temperatures, shape (n, m)."""
    one, other = _per_beta(one_c), _per_beta(other_c)
    apart = (one_c[:, np.newaxis] - other_c) / SMOOTH_OVER_K
    covariance: Matrix = (
        _LOG_R25_SPREAD**2
        + _BETA_SPREAD_K**2 * np.outer(one, other)
        + (0.5 * CURVATURE_SPREAD_K2) ** 2 * np.outer(one * one, other * other)
        + OFF_THE_PARABOLA**2 * np.exp(-0.5 * apart * apart)
    )
    return covariance


def _per_beta(temperature_c: Vector) -> Vector:
    return 1.0 / (temperature_c + ZERO_CELSIUS_K) - 1.0 / REFERENCE_K
