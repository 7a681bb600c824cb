"""Two reference curves over the temperatures that both were printed for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.curves.reference_curve import ReferenceCurve
from calibration.errors import CurveError, CurveRangeError

_STEPS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveDifference:
    """How a good part of one curve is seen by a computer that holds another.

    Attributes
    ----------
    temperature_c : float
        [°C]
    first_ohm, second_ohm : float
        Nominal resistances. [Ω]
    difference_percent : float
        Second over first. [%]
    difference_k : float
        What a computer holding the first shows too much for a part of the second. [K]
    """

    temperature_c: float
    first_ohm: float
    second_ohm: float
    difference_percent: float
    difference_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveComparison:
    """Two curves beside each other.

    Attributes
    ----------
    first, second : ReferenceCurve
    differences : tuple[CurveDifference, ...]
        Rising in temperature, close enough to draw.
    at_rows : tuple[CurveDifference, ...]
        At the printed temperatures of either.
    """

    first: ReferenceCurve
    second: ReferenceCurve
    differences: tuple[CurveDifference, ...]
    at_rows: tuple[CurveDifference, ...]

    @property
    def largest(self) -> CurveDifference:
        """Where they are furthest apart in kelvin."""
        return max((*self.differences, *self.at_rows), key=lambda one: abs(one.difference_k))


def compare_curves(first: ReferenceCurve, second: ReferenceCurve) -> CurveComparison:
    """Compare two curves where both can judge.

    Raises
    ------
    CurveError
        If there is no such temperature.
    """
    low_c = max(first.valid_from_c, second.valid_from_c)
    high_c = min(first.valid_to_c, second.valid_to_c)
    grid = [low_c + (high_c - low_c) * step / _STEPS for step in range(_STEPS + 1)] if low_c <= high_c else []
    only_rows = first.judges_only_printed_rows or second.judges_only_printed_rows
    printed = sorted({*first.printed_temperatures_c, *second.printed_temperatures_c})
    at_rows = _differences(first, second, printed)
    differences = at_rows if only_rows else _differences(first, second, grid)
    if not differences:
        raise CurveError(
            f"{first.name} and {second.name} have no temperature in common at which both can judge. "
            "Choose two that overlap."
        )
    return CurveComparison(first=first, second=second, differences=differences, at_rows=at_rows)


def _differences(
    first: ReferenceCurve, second: ReferenceCurve, temperatures_c: Sequence[float]
) -> tuple[CurveDifference, ...]:
    found = (_difference(first, second, temperature_c) for temperature_c in temperatures_c)
    return tuple(one for one in found if one is not None)


def _difference(
    first: ReferenceCurve, second: ReferenceCurve, temperature_c: float
) -> CurveDifference | None:
    try:
        first_ohm, second_ohm = first.nominal_ohm(temperature_c), second.nominal_ohm(temperature_c)
        shown_c = first.indicated_c(second_ohm, at_c=temperature_c)
    except CurveRangeError:
        return None
    return CurveDifference(
        temperature_c=temperature_c,
        first_ohm=first_ohm,
        second_ohm=second_ohm,
        difference_percent=100.0 * math.expm1(math.log(second_ohm / first_ohm)),
        difference_k=shown_c - temperature_c,
    )
