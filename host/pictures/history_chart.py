"""The history chart: certified values over their dates with U bars, and the line of their drift to today."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from calibration.drift import CertifiedValue, Drift
from calibration.rounding import decimals_of, rounded_text
from host.pictures.drawn_figure import LETTER_PT, drawn_svg
from host.pictures.ink import ON_PAPER, Surface

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SALT = "ohmbath history chart"
_STEPS_OF_THE_BAND = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What the chart shows.

    Attributes
    ----------
    title : str
        What is drawn, with its unit.
    unit : str
    values : sequence of CertifiedValue
        The oldest first.
    drift : Drift or None
    today : date
    """

    title: str
    unit: str
    values: Sequence[CertifiedValue]
    drift: Drift | None
    today: date


def history_chart_svg(
    history: History,
    *,
    surface: Surface = Surface.PAGE,
    width_in: float = 4.6,
    height_in: float = 2.3,
) -> str:
    """Chart as SVG text.

    Parameters
    ----------
    history : History
    surface : Surface
    width_in, height_in : float
        Size. [in]

    Raises
    ------
    ValueError
        If there is no value.
    """
    if not history.values:
        raise ValueError("A history needs at least one certified value.")

    def draw(figure: "Figure") -> None:
        axes = figure.add_axes((0.13, 0.27 / height_in, 0.85, 1.0 - 0.53 / height_in))
        if history.drift is not None and history.today > history.values[0].on:
            _draw_line(axes, history.drift, history.values[0].on, history.today)
        _draw_values(axes, history.values)
        _dress(axes, history)

    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title=f"History: {history.title}",
        said=_said(history),
        salt=f"{_SALT} {history.title}",
    )


def _draw_line(axes: "Axes", drift: Drift, first: date, today: date) -> None:
    step = (today - first) / _STEPS_OF_THE_BAND
    days = [first + number * step for number in range(_STEPS_OF_THE_BAND + 1)]
    x = [day.toordinal() for day in days]
    line = [drift.value_on(day) for day in days]
    u = [drift.expanded_u_on(day) for day in days]
    low = [value - half for value, half in zip(line, u, strict=True)]
    high = [value + half for value, half in zip(line, u, strict=True)]
    axes.fill_between(x, low, high, color=ON_PAPER.band, linewidth=0, zorder=1)
    for edge in (low, high):
        axes.plot(x, edge, color=ON_PAPER.soft, linewidth=0.7, linestyle=(0, (2, 2)), zorder=2)
    axes.plot(x, line, color=ON_PAPER.soft, linewidth=1.0, linestyle=(0, (5, 2)), zorder=2)
    axes.errorbar(
        x[-1],
        line[-1],
        yerr=u[-1],
        color=ON_PAPER.soft,
        linewidth=1.1,
        capsize=2.6,
        marker="s",
        markersize=5.0,
        markerfacecolor=ON_PAPER.ground,
        zorder=3,
    )
    axes.annotate(
        "today",
        (x[-1], line[-1]),
        textcoords="offset points",
        xytext=(-6, 5),
        ha="right",
        fontsize=LETTER_PT,
        color=ON_PAPER.line,
    )


def _draw_values(axes: "Axes", values: Sequence[CertifiedValue]) -> None:
    for value in values:
        axes.errorbar(
            value.on.toordinal(),
            value.value,
            yerr=value.expanded_u,
            color=ON_PAPER.line,
            linewidth=1.1,
            capsize=2.6,
            capthick=1.0,
            marker="o",
            markersize=5.0,
            zorder=4,
        )


def _dress(axes: "Axes", history: History) -> None:
    axes.axhline(0.0, color=ON_PAPER.faint, linewidth=0.8, zorder=0)
    first = history.values[0].on
    last = max(history.values[-1].on, history.today if history.drift is not None else first)
    room = max(0.06 * (last - first).days, 30.0)
    axes.set_xlim(first.toordinal() - room, last.toordinal() + room)
    ticks = _date_ticks(first, last)
    axes.set_xticks([day.toordinal() for day in ticks], [_written(day, ticks) for day in ticks])
    axes.locator_params(axis="y", nbins=5)
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        axes.spines[name].set(color=ON_PAPER.soft, linewidth=0.7)
    axes.tick_params(colors=ON_PAPER.line, width=0.7, length=3, labelsize=LETTER_PT)
    axes.set_title(history.title, loc="left", fontsize=LETTER_PT, color=ON_PAPER.line)


def _date_ticks(first: date, last: date) -> list[date]:
    """First days of years, of quarters where there are too few of those."""
    years = [date(year, 1, 1) for year in range(first.year, last.year + 2)]
    inside = [day for day in years if first <= day <= last]
    if len(inside) >= 2:
        return inside[:: -(-len(inside) // 6)]
    quarters = [date(year, month, 1) for year in range(first.year, last.year + 1) for month in (1, 4, 7, 10)]
    return [day for day in quarters if first <= day <= last] or [first]


def _written(day: date, ticks: Sequence[date]) -> str:
    if all(tick.month == 1 and tick.day == 1 for tick in ticks):
        return str(day.year)
    return day.strftime("%Y-%m")


def _said(history: History) -> str:
    sentences = [
        f"{value.on.isoformat()}: {_rounded(value.value, value.expanded_u)} ± "
        f"{_rounded(value.expanded_u, value.expanded_u)} {history.unit}."
        for value in history.values
    ]
    if history.drift is not None:
        value, u = history.drift.value_on(history.today), history.drift.expanded_u_on(history.today)
        sentences.append(
            f"Carried on to {history.today.isoformat()}: {_rounded(value, u)} ± {_rounded(u, u)} "
            f"{history.unit}."
        )
    return " ".join(sentences)


def _rounded(value: float, expanded_u: float) -> str:
    return rounded_text(value, decimals_of(expanded_u))
