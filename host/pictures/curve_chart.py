"""Charts of reference curves: resistance over temperature, and how far two are apart."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calibration.curves import ReferenceCurve
from calibration.curves.curve_comparison import CurveComparison
from calibration.errors import CurveError
from calibration.temperature_scale import fahrenheit_from_celsius
from host.pictures.drawn_figure import LETTER_PT, drawn_svg
from host.pictures.ink import ON_PAPER, Surface
from host.pictures.ohm_ticks import ohm_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STEPS = 80
_LINES = ("-", (0, (5, 2)))


def curve_chart_svg(
    curves: Sequence[ReferenceCurve],
    *,
    fahrenheit: bool = False,
    surface: Surface = Surface.PAGE,
    width_in: float = 4.6,
    height_in: float = 3.0,
) -> str:
    """Resistance over temperature, resistance on a log scale, as SVG text.

    Parameters
    ----------
    curves : sequence of ReferenceCurve
        One with its limits as a band, or two: the second dashed.
    fahrenheit : bool
    surface : Surface
    width_in, height_in : float
        Below 2 in of width only the line is drawn. [in]
    """
    small = width_in < 2.0

    def draw(figure: "Figure") -> None:
        if small:
            axes = figure.add_axes((0.02, 0.04, 0.96, 0.92))
        else:
            axes = figure.add_axes((0.13, 0.34 / height_in, 0.84, 1.0 - 0.6 / height_in))
        axes.set_yscale("log")
        for curve, line in zip(curves, _LINES, strict=False):
            _draw_curve(axes, curve, line, fahrenheit=fahrenheit, with_limits=len(curves) == 1)
        _dress(axes, "resistance in Ω", fahrenheit=fahrenheit, small=small)
        if not small:
            ohm_ticks(axes)

    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title=f"Resistance against temperature: {', '.join(curve.name for curve in curves)}",
        said=" ".join(_said(curve, fahrenheit) for curve in curves),
        salt=f"ohmbath curve {small} {' '.join(curve.name for curve in curves)}",
    )


def comparison_chart_svg(
    comparison: CurveComparison,
    *,
    fahrenheit: bool = False,
    surface: Surface = Surface.PAGE,
    width_in: float = 4.6,
    height_in: float = 2.4,
) -> str:
    """What a computer holding the first curve shows too much for a part of the second, as SVG text."""
    differences = comparison.differences
    few = len(differences) <= len(comparison.at_rows)

    def draw(figure: "Figure") -> None:
        axes = figure.add_axes((0.13, 0.34 / height_in, 0.84, 1.0 - 0.6 / height_in))
        axes.axhline(0.0, color=ON_PAPER.soft, linewidth=0.7, zorder=1)
        axes.plot(
            [_degrees(one.temperature_c, fahrenheit) for one in differences],
            [one.difference_k for one in differences],
            color=ON_PAPER.line,
            linewidth=1.2,
            linestyle="none" if few else "-",
            marker="o" if few else "",
            markersize=4.5,
            zorder=3,
        )
        axes.locator_params(axis="y", nbins=5)
        _dress(axes, "second shows too much, K", fahrenheit=fahrenheit, small=False)

    largest = comparison.largest
    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title="Difference of the two curves against temperature",
        said=f"Largest: {largest.difference_k:+.1f} K at {_written(largest.temperature_c, fahrenheit)}.",
        salt=f"ohmbath comparison {comparison.first.name} {comparison.second.name}",
    )


def _draw_curve(
    axes: "Axes", curve: ReferenceCurve, line: object, *, fahrenheit: bool, with_limits: bool
) -> None:
    if curve.judges_only_printed_rows:
        temperatures = list(curve.printed_temperatures_c)
    else:
        span = curve.valid_to_c - curve.valid_from_c
        temperatures = [curve.valid_from_c + span * step / _STEPS for step in range(_STEPS + 1)]
    x = [_degrees(t, fahrenheit) for t in temperatures]
    limits = [_limits(curve, t) for t in temperatures] if with_limits else []
    known = [limit for limit in limits if limit is not None]
    if known and len(known) == len(x):
        low, high = [limit[0] for limit in known], [limit[1] for limit in known]
        axes.fill_between(x, low, high, color=ON_PAPER.band, linewidth=0, zorder=1)
        for edge in (low, high):
            axes.plot(x, edge, color=ON_PAPER.soft, linewidth=0.7, linestyle=(0, (2, 2)), zorder=2)
    axes.plot(
        x,
        [curve.nominal_ohm(t) for t in temperatures],
        color=ON_PAPER.line,
        linewidth=1.2,
        linestyle="none" if curve.judges_only_printed_rows else line,
        marker="o" if curve.judges_only_printed_rows else "",
        markersize=4.5,
        zorder=3,
    )


def _limits(curve: ReferenceCurve, temperature_c: float) -> tuple[float, float] | None:
    try:
        return curve.limits_ohm(temperature_c)
    except CurveError:
        return None


def _dress(axes: "Axes", what: str, *, fahrenheit: bool, small: bool) -> None:
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        axes.spines[name].set(color=ON_PAPER.soft, linewidth=0.7)
    if small:
        axes.set_xticks([])
        axes.set_yticks([], minor=False)
        axes.set_yticks([], minor=True)
        return
    axes.tick_params(colors=ON_PAPER.line, width=0.7, length=3, labelsize=LETTER_PT)
    axes.set_title(what, loc="left", fontsize=LETTER_PT, color=ON_PAPER.line)
    axes.set_xlabel(f"temperature in {'°F' if fahrenheit else '°C'}", loc="right", labelpad=1.5)
    axes.xaxis.label.set(color=ON_PAPER.line, fontsize=LETTER_PT)


def _said(curve: ReferenceCurve, fahrenheit: bool) -> str:
    ends = (curve.valid_from_c, curve.valid_to_c)
    return (
        f"{curve.name} falls "
        + " to ".join(f"{curve.nominal_ohm(t):.4g} Ω at {_written(t, fahrenheit)}" for t in ends)
        + "."
    )


def _degrees(temperature_c: float, fahrenheit: bool) -> float:
    return fahrenheit_from_celsius(temperature_c) if fahrenheit else temperature_c


def _written(temperature_c: float, fahrenheit: bool) -> str:
    return f"{_degrees(temperature_c, fahrenheit):.4g} {'°F' if fahrenheit else '°C'}"
