"""The chart of errors: each with its uncertainty bar, and the limits as a band.

In ink alone: a verdict is told by the shape of its mark, so that it reads in black and white.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from calibration.conformity import Verdict
from calibration.station_round import Agreement
from host.certificates.results.results import Bars, ErrorBar
from host.pictures.drawn_figure import drawn_svg
from host.pictures.ink import ON_PAPER, Surface

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SALT = "ohmbath result chart"
_MARKERS = {
    Verdict.IN_TOLERANCE: "o",
    Verdict.OUT_OF_TOLERANCE: "D",
    Verdict.NOT_DECIDED: "o",
    Agreement.AGREES: "o",
    Agreement.DOES_NOT_AGREE: "D",
    None: "s",
}
_LONGEST_NAME = 14
#: Longer names together, with room between them, stand upright under their bars.
_LETTERS_SIDE_BY_SIDE, _LETTERS_BETWEEN = 46, 2
_UPRIGHT_IN = 0.95
#: Part of the width for the numbers beside the axis, and room for half of a number below its end. [1], [in]
_LEFT, _RIGHT_IN = 0.11, 0.2
# Ending at the axis, whatever letters a page sets them in.
_UPRIGHT: dict[str, Any] = {"rotation": 90.0, "rotation_mode": "anchor", "ha": "right", "va": "center"}


def error_chart_svg(
    bars: Bars, *, surface: Surface = Surface.PAPER, width_in: float = 3.5, height_in: float = 2.6
) -> str:
    """Chart as SVG text; the same bars give the same characters.

    Parameters
    ----------
    bars : Bars
        In any order.
    surface : Surface
        Fixed ink, or the page's own colours (see `host.pictures.ink`).
    width_in, height_in : float
        Size. [in]

    Raises
    ------
    ValueError
        If there is no bar.
    """
    if not bars.bars:
        raise ValueError("A result chart needs at least one point.")
    in_order = sorted(bars.bars, key=lambda bar: bar.at)

    def draw(figure: "Figure") -> None:
        below_in = _UPRIGHT_IN if _stand_upright(bars.names) else 0.36
        across = 1.0 - _LEFT - _RIGHT_IN / width_in
        axes = figure.add_axes((_LEFT, below_in / height_in, across, 1.0 - (below_in + 0.26) / height_in))
        if bars.is_logarithmic:
            axes.set_xscale("log")
        _draw_limits(axes, in_order, is_logarithmic=bars.is_logarithmic)
        _draw_errors(axes, in_order)
        _dress(axes, in_order, bars)

    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title="Result chart: errors with their uncertainty",
        said=said_of(bars),
        salt=_SALT,
    )


def said_of(bars: Bars) -> str:
    """What the chart shows, in words."""
    return " ".join(bar.said for bar in sorted(bars.bars, key=lambda bar: bar.at))


def _draw_limits(axes: "Axes", points: Sequence[ErrorBar], *, is_logarithmic: bool) -> None:
    for side in (0, 1):
        for run in _runs(points, side):
            along = [at for at, _ in run]
            limits = [limit for _, limit in run]
            if len(run) == 1:
                wide = (0.94, 1.06) if is_logarithmic else None
                along = [along[0] * end for end in wide] if wide else [along[0] - 1.5, along[0] + 1.5]
                limits = limits * 2
            axes.fill_between(along, limits, 0.0, color=ON_PAPER.band, linewidth=0, zorder=1)
            axes.plot(along, limits, color=ON_PAPER.soft, linewidth=0.9, linestyle=(0, (5, 2)), zorder=2)


def _runs(points: Sequence[ErrorBar], side: int) -> list[list[tuple[float, float]]]:
    """Neighbouring points whose limit on that side is stated: (where, limit)."""
    runs: list[list[tuple[float, float]]] = [[]]
    for point in points:
        limit = point.limits[side]
        if limit is None:
            runs.append([])
        else:
            runs[-1].append((point.at, limit))
    return [run for run in runs if run]


def _draw_errors(axes: "Axes", points: Sequence[ErrorBar]) -> None:
    axes.axhline(0.0, color=ON_PAPER.soft, linewidth=0.7, zorder=2)
    for verdict, marker in _MARKERS.items():
        # All of a verdict at once: the drawing library takes its time for each.
        same = [point for point in points if point.verdict is verdict]
        if not same:
            continue
        axes.errorbar(
            [point.at for point in same],
            [point.error for point in same],
            yerr=[point.expanded_u for point in same],
            color=ON_PAPER.line,
            linestyle="none",
            elinewidth=1.1,
            capsize=2.6,
            capthick=1.0,
            marker=marker,
            fillstyle="left" if verdict is Verdict.NOT_DECIDED else "full",
            markersize=4.4 if verdict is None else 5.6,
            markeredgewidth=0.8,
            markerfacecoloralt=ON_PAPER.ground,
            zorder=4,
        )


def _dress(axes: "Axes", points: Sequence[ErrorBar], bars: Bars) -> None:
    lowest, highest = _reach(points)
    room = 0.12 * (highest - lowest)
    axes.set_ylim(lowest - room, highest + room)
    first, last = points[0].at, points[-1].at
    if bars.is_logarithmic:
        axes.set_xlim(first / 1.35, last * 1.35)
    else:
        side = 0.6 if bars.names else max(0.07 * (last - first), 4.0)
        axes.set_xlim(first - side, last + side)
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        axes.spines[name].set(color=ON_PAPER.soft, linewidth=0.7)
    axes.tick_params(colors=ON_PAPER.line, which="both", width=0.7, length=3, labelsize=8.5)
    if bars.names:
        names = [
            name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}…" for name in bars.names
        ]
        # A dollar sign would begin a formula.
        axes.set_xticks(
            [point.at for point in points],
            [name.replace("$", r"\$") for name in names],
            **(_UPRIGHT if _stand_upright(bars.names) else {}),
        )
    elif bars.is_logarithmic:
        _label_ohms(axes)
    else:
        axes.locator_params(nbins=6)
    axes.set_title(_plain(bars.title), loc="left", fontsize=8.5, color=ON_PAPER.line)
    axes.set_xlabel(_plain(bars.across), loc="right", labelpad=1.5, color=ON_PAPER.line)


def _stand_upright(names: Sequence[str]) -> bool:
    shown = [min(len(name), _LONGEST_NAME) + _LETTERS_BETWEEN for name in names]
    return sum(shown) > _LETTERS_SIDE_BY_SIDE


def _plain(text: str) -> str:
    """Text that is no formula: a dollar sign would begin one."""
    return text.replace("$", r"\$")


def _label_ohms(axes: "Axes") -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 3.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda ohm, _: f"{ohm:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def _reach(points: Sequence[ErrorBar]) -> tuple[float, float]:
    ends = [0.0]
    for point in points:
        ends += [point.error - point.expanded_u, point.error + point.expanded_u]
        ends += [limit for limit in point.limits if limit is not None]
    return min(ends), max(ends)
