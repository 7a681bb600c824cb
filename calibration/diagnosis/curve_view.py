"""A reference curve as seen from the temperatures of some points."""

import math
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.healthy_spread import HealthySpread, beta_shape, healthy_spread
from calibration.diagnosis.measured_points import Matrix, MeasuredPoints, Vector

# No resistance is read more surely, whatever was typed; it also keeps the covariance from being singular.
_SUREST_READING = 1e-6
# Half-widths of limits within this ratio of each other are one percentage, rounded.
_ONE_PERCENTAGE = 1.1
# A good part keeps within acceptance limits, taken as two standard deviations of its wandering, and a real
# one, the 2.5 kΩ part in the limits of `ntc-310-80c`, goes from one third of them to the edge within 20 K.
_WANDERS_BY, _WANDERS_OVER_K = 0.5, 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveView:
    """What the curve says at n temperatures, and how measured points scatter about it.

    Attributes
    ----------
    curve : ReferenceCurve
    spread : HealthySpread
    temperature_c : Vector, shape (n,)
        [°C]
    resistance_ohm : Vector, shape (n,)
        Nominal. [Ω]
    slope_per_k : Vector, shape (n,)
        Of ``ln R`` over temperature, negative. [1/K]
    part_shapes : Matrix, shape (n, 2)
        Change of ``ln R`` for a relative change of R25, and of beta.
    doubt : Matrix, shape (n, n)
        Covariance of ``ln R`` by what the curve leaves open: between its rows, and, where acceptance limits
        are all that is known, about the course of a good part between them.
    half_width : Vector, shape (n,)
        How far ``ln R`` of a good part may be from the curve.
    """

    curve: ReferenceCurve
    spread: HealthySpread
    temperature_c: Vector
    resistance_ohm: Vector
    slope_per_k: Vector
    part_shapes: Matrix
    doubt: Matrix
    half_width: Vector

    @property
    def count(self) -> int:
        """Number of temperatures."""
        return int(self.temperature_c.size)

    def covariance(self, points: MeasuredPoints, share: Vector | None = None) -> Matrix:
        """Covariance of measured ``ln R`` about the curve, good parts' scatter included.

        Parameters
        ----------
        points : MeasuredPoints
            At the temperatures of this view.
        share : Vector, shape (..., n), optional
            What share of a change in the element reaches the terminals; 1 without a fault.

        Returns
        -------
        Matrix, shape (..., n, n)
        """
        return self._with_parts(points, self.spread.covariance, share)

    def covariance_of_one_part(self, points: MeasuredPoints) -> Matrix:
        """Covariance of measured ``ln R`` about one part of the grid of good ones, shape (n, n)."""
        return self._with_parts(points, np.diag(self.spread.cell**2 / 12.0), None)

    def covariance_of_one_beta(self, points: MeasuredPoints, share: Vector) -> Matrix:
        """And about parts of one R25 and of one column of that grid, for faults, shape (..., n, n)."""
        return self._with_parts(points, np.diag([0.0, self.spread.cell[1] ** 2 / 12.0]), share)

    def _with_parts(self, points: MeasuredPoints, parts: Matrix, share: Vector | None) -> Matrix:
        scatter = self.part_shapes @ parts @ self.part_shapes.T + self.doubt
        by_temperature = np.outer(self.slope_per_k, self.slope_per_k) * points.temperature_covariance
        element = scatter + by_temperature
        meter = points.relative_covariance + _SUREST_READING**2 * np.eye(self.count)
        if share is None:
            return meter + element
        return meter + share[..., :, np.newaxis] * share[..., np.newaxis, :] * element


def view_of(curve: ReferenceCurve, temperature_c: Vector) -> CurveView:
    """View of a curve.

    Parameters
    ----------
    curve : ReferenceCurve
    temperature_c : Vector, shape (n,)
        [°C]

    Raises
    ------
    CurveRangeError
        If the curve cannot judge at one of them.
    """
    nominal_ohm = np.array([curve.nominal_ohm(t) for t in temperature_c.tolist()])
    kelvin_per_log = np.array([curve.sensitivity_k_per_ohm(ohm) * ohm for ohm in nominal_ohm.tolist()])
    doubt_k = np.array([curve.doubt_k(t, 0.0) for t in temperature_c.tolist()])
    spread, shape = healthy_spread(curve), beta_shape(curve, np.log(nominal_ohm))
    return CurveView(
        curve=curve,
        spread=spread,
        temperature_c=temperature_c,
        resistance_ohm=nominal_ohm,
        slope_per_k=1.0 / kelvin_per_log,
        part_shapes=np.stack([np.ones(temperature_c.size), shape], axis=1),
        doubt=np.diag((doubt_k / kelvin_per_log) ** 2 / 3.0) + wandering(curve, temperature_c),
        half_width=_half_width(curve, temperature_c, shape),
    )


def wandering(curve: ReferenceCurve, temperature_c: Vector) -> Matrix:
    """Covariance by which a good part may leave the middle of acceptance limits, beside R25 and beta.

    Limits of one percentage throughout stand about a nominal course that parts share. Limits that narrow and
    widen say where a part is accepted, not how it runs: their middle is no thermistor's course, and a good
    part lies anywhere between them, smoothly. Beyond its ends a curve has the limits of its last row.
    """
    if not is_known_by_limits(curve):
        return np.zeros((temperature_c.size, temperature_c.size))
    limited_c = np.clip(temperature_c, curve.valid_from_c, curve.valid_to_c)
    spread = _WANDERS_BY * np.array([_log_half_width(curve, t) for t in limited_c.tolist()])
    apart = (temperature_c[:, np.newaxis] - temperature_c) / _WANDERS_OVER_K
    return np.outer(spread, spread) * np.exp(-0.5 * apart**2)


def is_known_by_limits(curve: ReferenceCurve) -> bool:
    """Whether acceptance limits are all that is printed of a curve: limits that narrow and widen."""
    if not curve.has_tolerance or curve.judges_only_printed_rows:
        # Without limits there is nothing to wander in; at two or three rows R25 and beta reach all of it.
        return False
    printed = [_log_half_width(curve, t) for t in curve.printed_temperatures_c]
    return bool(printed) and max(printed) > _ONE_PERCENTAGE * min(printed)


def _log_half_width(curve: ReferenceCurve, temperature_c: float) -> float:
    limits = curve.limits_ohm(temperature_c)
    assert limits is not None
    return 0.5 * math.log(limits[1] / limits[0])


def coincide(one: CurveView, other: CurveView) -> bool:
    """Whether two curves say the same within tolerance: each runs inside the other's good parts.

    At every temperature the distance must be no more than the narrower of the two half-widths.
    """
    distance = np.abs(np.log(one.resistance_ohm / other.resistance_ohm))
    return bool(np.all(distance <= np.minimum(one.half_width, other.half_width)))


def _half_width(curve: ReferenceCurve, temperature_c: Vector, shape: Vector) -> Vector:
    if curve.has_tolerance:
        return np.array([_log_half_width(curve, t) for t in temperature_c.tolist()])
    spread = healthy_spread(curve)
    return spread.r25_half_width + spread.beta_half_width * np.abs(shape)
