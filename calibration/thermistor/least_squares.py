"""Least squares with its covariance: the one engine behind every fitted curve of the bench."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from calibration.errors import FitError

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

_EVALUATIONS_AT_MOST = 20_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastSquares:
    """Parameters that make a sum of squared residuals least, and how sure they are.

    Attributes
    ----------
    parameters : ndarray, shape (n_parameters,)
    residuals : ndarray, shape (n_points,)
        In units of their standard uncertainty where one was given.
    sum_of_squares : float
    degrees_of_freedom : int
    unit_covariance : ndarray, shape (n_parameters, n_parameters)
        Covariance for residuals of unit variance.
    """

    parameters: Vector
    residuals: Vector
    sum_of_squares: float
    degrees_of_freedom: int
    unit_covariance: Matrix

    @property
    def residual_std(self) -> float | None:
        """Standard deviation of the residuals; None with no degree of freedom left."""
        if self.degrees_of_freedom < 1:
            return None
        return float(np.sqrt(self.sum_of_squares / self.degrees_of_freedom))

    @property
    def scatter_covariance(self) -> Matrix | None:
        """Covariance by the scatter of the residuals; None with no degree of freedom left."""
        scatter = self.residual_std
        return None if scatter is None else self.unit_covariance * scatter**2


def least_squares(
    *,
    residuals: Callable[[Vector], Vector],
    jacobian: Callable[[Vector], Matrix],
    start: Sequence[float],
) -> LeastSquares:
    """Least-squares parameters by Levenberg and Marquardt's method, finished by Gauss's.

    Parameters
    ----------
    residuals : callable
        From parameters, shape (n_parameters,), to residuals, shape (n_points,).
    jacobian : callable
        From parameters to the derivatives of the residuals, shape (n_points, n_parameters).
    start : sequence of float
        First guess.

    Raises
    ------
    FitError
        If there are fewer points than parameters, if the points do not determine them, or if the
        search finds no minimum.

    References
    ----------
    J. J. Moré, Lecture Notes in Mathematics 630 (1978) 105-116 (MINPACK, through scipy).
    """
    first = np.asarray(start, dtype=float)
    if residuals(first).size < first.size:
        raise FitError(
            f"{residuals(first).size} points cannot give {first.size} parameters: measure more points."
        )
    found = optimize.least_squares(
        residuals,
        first,
        jac=jacobian,
        method="lm",
        x_scale="jac",
        ftol=1e-15,
        xtol=1e-15,
        gtol=1e-15,
        max_nfev=_EVALUATIONS_AT_MOST,
    )
    if found.status <= 0:
        raise FitError("The search for the best curve did not end: start it nearer, or check the points.")
    parameters = _finished(residuals, jacobian, np.asarray(found.x, dtype=float))
    left = residuals(parameters)
    return LeastSquares(
        parameters=parameters,
        residuals=left,
        sum_of_squares=float(left @ left),
        degrees_of_freedom=left.size - parameters.size,
        unit_covariance=_unit_covariance(jacobian(parameters)),
    )


def _finished(
    residuals: Callable[[Vector], Vector], jacobian: Callable[[Vector], Matrix], parameters: Vector
) -> Vector:
    """Gauss steps from the minimum found, as long as they still lower the sum of squares."""
    for _ in range(10):
        left = residuals(parameters)
        step, *_ = np.linalg.lstsq(_scaled(jacobian(parameters))[0], -left, rcond=None)
        candidate = parameters + step / _scaled(jacobian(parameters))[1]
        after = residuals(candidate)
        if not after @ after < left @ left:
            return parameters
        parameters = candidate
    return parameters


def _unit_covariance(derivatives: Matrix) -> Matrix:
    scaled, lengths = _scaled(derivatives)
    _, singular, rows = np.linalg.svd(scaled, full_matrices=False)
    if singular[-1] < singular[0] * np.finfo(float).eps * max(scaled.shape):
        raise FitError(
            "These points do not determine every parameter of the curve: measure at more temperatures, "
            "or fit a model with fewer parameters."
        )
    inverse = rows.T / singular / lengths[:, np.newaxis]
    covariance: Matrix = inverse @ inverse.T
    return covariance


def _scaled(derivatives: Matrix) -> tuple[Matrix, Vector]:
    """Columns of unit length, and the lengths: parameters may differ by many decades."""
    lengths = np.linalg.norm(derivatives, axis=0)
    lengths = np.where(lengths > 0.0, lengths, 1.0)
    return derivatives / lengths, lengths
