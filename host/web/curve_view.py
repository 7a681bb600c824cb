"""Reference curves as their pages show them."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from markupsafe import Markup

from calibration.curves import ReferenceCurve, curve_names
from calibration.curves.curve_comparison import CurveComparison, compare_curves
from calibration.diagnosis.curve_view import coincide, view_of
from calibration.errors import CurveError
from calibration.temperature_scale import fahrenheit_from_celsius
from host.curve_choice import all_curves
from host.pictures.curve_chart import comparison_chart_svg, curve_chart_svg
from host.store import Store
from host.web.scale import Scale
from host.web.strips import on_this_page

_MOST_TABLE_ROWS = 12
_SMALL_IN = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRowView:
    """One curve in the list."""

    curve: ReferenceCurve
    is_own: bool
    chart: Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveView:
    """One curve in full.

    Attributes
    ----------
    curve : ReferenceCurve
    is_own : bool
    added_by : str
        Who added it; empty where nobody was signed in, and for the bench's own.
    chart : Markup
    rows : tuple of (chosen scale, other scale, least, nominal, largest)
        As printed; where coefficients are printed, worked out.
    coincides_with : tuple[str, ...]
        Curves that say the same within tolerance wherever both can judge.
    """

    curve: ReferenceCurve
    is_own: bool
    added_by: str
    chart: Markup
    rows: tuple[tuple[str, str, str, str, str], ...]
    coincides_with: tuple[str, ...]


def curve_rows(store: Store) -> tuple[CurveRowView, ...]:
    """Every curve with a small chart."""
    bench = set(curve_names())
    return tuple(
        CurveRowView(curve=curve, is_own=curve.name not in bench, chart=_small_chart(curve))
        for curve in all_curves(store.curves)
    )


def curve_view(curve: ReferenceCurve, store: Store, scale: Scale) -> CurveView:
    """One curve in full, beside all the others."""
    own = store.curves.get(curve.name)
    others = [other for other in all_curves(store.curves) if other.name != curve.name]
    return CurveView(
        curve=curve,
        is_own=curve.name not in curve_names(),
        added_by=own.added_by if own else "",
        chart=_page(curve_chart_svg([curve], fahrenheit=scale is Scale.FAHRENHEIT)),
        rows=_rows(curve, scale),
        coincides_with=tuple(other.name for other in others if _coincide(curve, other)),
    )


def comparison_charts(comparison: CurveComparison, scale: Scale) -> tuple[Markup, Markup]:
    """Both curves in one chart, and their difference in another."""
    fahrenheit = scale is Scale.FAHRENHEIT
    both = curve_chart_svg([comparison.first, comparison.second], fahrenheit=fahrenheit)
    return _page(both), _page(comparison_chart_svg(comparison, fahrenheit=fahrenheit))


def degrees_text(temperature_c: float, scale: Scale) -> str:
    """A temperature as it is printed in a table, without its unit."""
    value = fahrenheit_from_celsius(temperature_c) if scale is Scale.FAHRENHEIT else temperature_c
    return f"{round(value, 1):g}"


def ohm_text(resistance_ohm: float) -> str:
    """A resistance in plain digits, to six of them."""
    return f"{float(f'{resistance_ohm:.6g}'):.12g}"


def _rows(curve: ReferenceCurve, scale: Scale) -> tuple[tuple[str, str, str, str, str], ...]:
    if curve.rows:
        temperatures = list(curve.printed_temperatures_c)
    else:
        span = curve.valid_to_c - curve.valid_from_c
        temperatures = [
            curve.valid_from_c + span * step / (_MOST_TABLE_ROWS - 1) for step in range(_MOST_TABLE_ROWS)
        ]
    rows = []
    for temperature_c in temperatures:
        limits = curve.limits_ohm(temperature_c)
        least, largest = ("", "") if limits is None else (ohm_text(limits[0]), ohm_text(limits[1]))
        nominal = ohm_text(curve.nominal_ohm(temperature_c))
        here, there = degrees_text(temperature_c, scale), degrees_text(temperature_c, scale.other)
        rows.append((here, there, least, nominal, largest))
    return tuple(rows)


def _coincide(one: ReferenceCurve, other: ReferenceCurve) -> bool:
    try:
        differences = compare_curves(one, other).differences
    except CurveError:
        return False
    temperatures_c = np.array([difference.temperature_c for difference in differences[::10]])
    try:
        return coincide(view_of(one, temperatures_c), view_of(other, temperatures_c))
    except CurveError:
        return False


def _small_chart(curve: ReferenceCurve) -> Markup:
    return _drawn_small(curve.content_hash, curve)


@lru_cache(maxsize=256)
def _drawn_small(content_hash: str, curve: ReferenceCurve) -> Markup:
    return _page(curve_chart_svg([curve], width_in=_SMALL_IN, height_in=_SMALL_IN * 0.6))


def _page(svg: str) -> Markup:
    return on_this_page(svg.encode("utf-8"))
