"""The result chart: error against temperature, with uncertainty bars and the limits as a band."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calibration.conformity import Verdict
from host.certificates.certificate import CertifiedPoint
from host.certificates.printed import fahrenheit
from host.pictures.drawn_figure import drawn_svg
from host.pictures.ink import ON_PAPER, Surface
from host.pictures.verdict_shape import SHAPES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SALT = "ohmbath result chart"
_MARKERS = {Verdict.IN_TOLERANCE: "o", Verdict.OUT_OF_TOLERANCE: "D", Verdict.NOT_DECIDED: "o"}


def result_chart_svg(
    points: Sequence[CertifiedPoint],
    *,
    surface: Surface = Surface.PAPER,
    width_in: float = 3.5,
    height_in: float = 2.6,
) -> str:
    """Chart as SVG text; the same points give the same characters.

    Parameters
    ----------
    points : sequence of CertifiedPoint
        In any order.
    surface : Surface
        Fixed ink, or the page's own colours (see `host.pictures.ink`).
    width_in, height_in : float
        Size. [in]

    Raises
    ------
    ValueError
        If there is no point.
    """
    if not points:
        raise ValueError("A result chart needs at least one point.")
    in_order = sorted(points, key=lambda point: point.temperature_c)

    def draw(figure: "Figure") -> None:
        axes = figure.add_axes((0.1, 0.36 / height_in, 0.89, 1.0 - 0.62 / height_in))
        _draw_limits(axes, in_order)
        _draw_errors(axes, in_order)
        _dress(axes, in_order)

    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title="Result chart: error against temperature",
        said=_said(in_order),
        salt=_SALT,
    )


def permitted_errors(point: CertifiedPoint) -> tuple[float | None, float | None]:
    """Lowest and highest permitted error; ``None`` on a side the result does not state. [K]"""
    if point.limits_k is not None:
        return point.limits_k
    return (None, point.limit_k) if point.error_k >= 0 else (-point.limit_k, None)


def _draw_limits(axes: "Axes", points: Sequence[CertifiedPoint]) -> None:
    for side in (0, 1):
        for run in _runs(points, side):
            temperatures = [temperature for temperature, _ in run]
            limits = [limit for _, limit in run]
            if len(run) == 1:
                temperatures = [temperatures[0] - 1.5, temperatures[0] + 1.5]
                limits = limits * 2
            axes.fill_between(temperatures, limits, 0.0, color=ON_PAPER.band, linewidth=0, zorder=1)
            axes.plot(
                temperatures, limits, color=ON_PAPER.soft, linewidth=0.9, linestyle=(0, (5, 2)), zorder=2
            )


def _runs(points: Sequence[CertifiedPoint], side: int) -> list[list[tuple[float, float]]]:
    """Neighbouring points whose limit on that side is stated: (temperature, limit)."""
    runs: list[list[tuple[float, float]]] = [[]]
    for point in points:
        limit = permitted_errors(point)[side]
        if limit is None:
            runs.append([])
        else:
            runs[-1].append((point.temperature_c, limit))
    return [run for run in runs if run]


def _draw_errors(axes: "Axes", points: Sequence[CertifiedPoint]) -> None:
    axes.axhline(0.0, color=ON_PAPER.soft, linewidth=0.7, zorder=2)
    for point in points:
        axes.errorbar(
            point.temperature_c,
            point.error_k,
            yerr=point.expanded_u_k,
            color=ON_PAPER.line,
            linewidth=1.1,
            capsize=2.6,
            capthick=1.0,
            marker=_MARKERS[point.verdict],
            fillstyle="left" if point.verdict is Verdict.NOT_DECIDED else "full",
            markersize=5.6,
            markeredgewidth=0.8,
            markerfacecoloralt=ON_PAPER.ground,
            zorder=4,
        )


def _dress(axes: "Axes", points: Sequence[CertifiedPoint]) -> None:
    lowest, highest = _reach(points)
    room = 0.12 * (highest - lowest)
    axes.set_ylim(lowest - room, highest + room)
    first, last = points[0].temperature_c, points[-1].temperature_c
    side = max(0.07 * (last - first), 4.0)
    axes.set_xlim(first - side, last + side)
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        axes.spines[name].set(color=ON_PAPER.soft, linewidth=0.7)
    axes.tick_params(colors=ON_PAPER.line, width=0.7, length=3, labelsize=8.5)
    axes.locator_params(nbins=6)
    axes.set_title(
        "Error in K with its uncertainty; dashed: limits", loc="left", fontsize=8.5, color=ON_PAPER.line
    )
    axes.set_xlabel("temperature in °C", loc="right", labelpad=1.5, color=ON_PAPER.line)


def _reach(points: Sequence[CertifiedPoint]) -> tuple[float, float]:
    ends = [0.0]
    for point in points:
        ends += [point.error_k - point.expanded_u_k, point.error_k + point.expanded_u_k]
        ends += [limit for limit in permitted_errors(point) if limit is not None]
    return min(ends), max(ends)


def _said(points: Sequence[CertifiedPoint]) -> str:
    return " ".join(
        f"At {point.temperature_c:.1f} °C ({fahrenheit(point.temperature_c):.0f} °F) the error is "
        f"{point.error_k:+.2f} K ± {point.expanded_u_k:.2f} K, limit {point.limit_k:.2f} K: "
        f"{SHAPES[point.verdict]} {point.verdict.words}."
        for point in points
    )
