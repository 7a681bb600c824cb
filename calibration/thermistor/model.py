"""The models a thermistor is fitted with, each linear in 1/T over powers of ln R."""

from collections.abc import Mapping
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from calibration.thermistor import ThermistorCurve
from calibration.thermistor.beta import REFERENCE_K, BetaCurve
from calibration.thermistor.steinhart_hart import SteinhartHart, SteinhartHartSquare

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]


class Model(StrEnum):
    """A curve of few parameters, from fewest to most."""

    BETA = "beta"
    STEINHART_HART = "steinhart_hart"
    STEINHART_HART_SQUARE = "steinhart_hart_square"

    @property
    def words(self) -> str:
        """The model as it is said to a person."""
        return {
            Model.BETA: "beta equation",
            Model.STEINHART_HART: "Steinhart-Hart",
            Model.STEINHART_HART_SQUARE: "Steinhart-Hart with the square term",
        }[self]

    @property
    def powers(self) -> tuple[int, ...]:
        """Powers of ``L = ln(R/Ω)`` whose sum is 1/T."""
        return {
            Model.BETA: (0, 1),
            Model.STEINHART_HART: (0, 1, 3),
            Model.STEINHART_HART_SQUARE: (0, 1, 2, 3),
        }[self]

    @property
    def coefficient_names(self) -> tuple[str, ...]:
        """Names the coefficients are reported by."""
        return {
            Model.BETA: ("r25_ohm", "beta_k"),
            Model.STEINHART_HART: ("a", "b", "c"),
            Model.STEINHART_HART_SQUARE: ("a", "b", "c", "d"),
        }[self]


def curve_of(model: Model, coefficients: Mapping[str, float]) -> ThermistorCurve:
    """Curve of ``model`` with reported coefficients."""
    if model is Model.BETA:
        return BetaCurve(**coefficients)
    if model is Model.STEINHART_HART:
        return SteinhartHart(**coefficients)
    return SteinhartHartSquare(**coefficients)


def reported_coefficients(model: Model, linear: Vector, covariance: Matrix) -> tuple[Vector, Matrix]:
    """Coefficients and covariance as reported, from those of the powers of ``L``.

    Only the beta equation differs: ``1/T = 1/T25 + (L - ln R25)/beta`` gives ``beta = 1/slope`` and
    ``ln R25 = (1/T25 - intercept)/slope``.
    """
    if model is not Model.BETA:
        return linear, covariance
    intercept, slope = linear
    beta_k = 1.0 / slope
    r25_ohm = np.exp((1.0 / REFERENCE_K - intercept) * beta_k)
    change = np.array(
        [
            [-r25_ohm * beta_k, -r25_ohm * (1.0 / REFERENCE_K - intercept) * beta_k**2],
            [0.0, -(beta_k**2)],
        ]
    )
    return np.array([r25_ohm, beta_k]), change @ covariance @ change.T
