"""A reference curve as seen from the temperatures of some points, also where it gives no verdict."""

from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibration.curves import ReferenceCurve
from calibration.diagnosis.course import course_of
from calibration.diagnosis.curve_view import CurveView, view_of, wandering
from calibration.diagnosis.healthy_spread import beta_shape, healthy_spread
from calibration.diagnosis.measured_points import Vector
from calibration.errors import CurveRangeError

Flags: TypeAlias = NDArray[np.bool_]
Numbers: TypeAlias = NDArray[np.intp]


def judges_at(curve: ReferenceCurve, temperature_c: float) -> bool:
    """Whether a curve gives a verdict at a temperature. [°C]"""
    try:
        curve.nominal_ohm(temperature_c)
    except CurveRangeError:
        return False
    return True


def view_beyond(curve: ReferenceCurve, temperature_c: Vector) -> CurveView:
    """View of a curve at any temperatures.

    Where the curve judges it is that of `view_of`. Between the rows of a curve of two or three, and beyond
    the ends of any, it is the course of an NTC through the rows (`calibration.diagnosis.course`): what that
    leaves open joins the doubt, so that a point there counts for as much as physics binds it to the rows.

    Parameters
    ----------
    curve : ReferenceCurve
    temperature_c : Vector, shape (n,)
        [°C]
    """
    judges = np.array([judges_at(curve, t) for t in temperature_c.tolist()], dtype=bool)
    if np.all(judges):
        return view_of(curve, temperature_c)
    beyond = _by_course(curve, temperature_c)
    return _with_judged(beyond, judges) if np.any(judges) else beyond


def _by_course(curve: ReferenceCurve, temperature_c: Vector) -> CurveView:
    spread, course = healthy_spread(curve), course_of(curve, temperature_c)
    shape = beta_shape(curve, course.log_ohm)
    parts = np.max(np.abs(spread.parts[:, :1] + spread.parts[:, 1:] * shape), axis=0)
    return CurveView(
        curve=curve,
        spread=spread,
        temperature_c=temperature_c,
        resistance_ohm=np.exp(course.log_ohm),
        slope_per_k=course.slope_per_k,
        part_shapes=np.stack([np.ones(temperature_c.size), shape], axis=1),
        doubt=course.covariance + wandering(curve, temperature_c),
        half_width=parts + 2.0 * np.sqrt(np.diag(course.covariance)),
    )


def _with_judged(beyond: CurveView, judges: Flags) -> CurveView:
    """The course, with what the curve itself says put in where it judges."""
    curve, here = beyond.curve, np.flatnonzero(judges)
    judged = view_of(curve, beyond.temperature_c[here])
    doubt = beyond.doubt.copy()
    wanders = wandering(curve, beyond.temperature_c)
    doubt[here, :], doubt[:, here] = wanders[here, :], wanders[:, here]
    doubt[np.ix_(here, here)] = judged.doubt
    return replace(
        beyond,
        resistance_ohm=_put(beyond.resistance_ohm, here, judged.resistance_ohm),
        slope_per_k=_put(beyond.slope_per_k, here, judged.slope_per_k),
        part_shapes=_put(beyond.part_shapes, here, judged.part_shapes),
        doubt=doubt,
        half_width=_put(beyond.half_width, here, judged.half_width),
    )


def _put(whole: Vector, here: Numbers, part: Vector) -> Vector:
    changed = whole.copy()
    changed[here] = part
    return changed
