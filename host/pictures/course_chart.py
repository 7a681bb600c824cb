"""The way of a sender through its bath: resistance over temperature, and how far its branch stands off."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration.curves import ReferenceCurve
from calibration.temperature_scale import fahrenheit_from_celsius
from host.pictures.drawn_figure import LETTER_PT, drawn_svg
from host.pictures.ink import ON_PAPER, Surface
from host.pictures.ohm_ticks import ohm_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SALT = "ohmbath course chart"
_STEPS = 80
#: A branch is drawn through no gap longer than this. [s]
_LONGEST_GAP_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnReading:
    """One reading of the way.

    Attributes
    ----------
    life : str
        Life of the rig (boot); a branch does not go from one to the next.
    time_s : float
        Rig time. [s]
    temperature_c, resistance_ohm : float
        Bath and sender. [°C], [Ω]
    difference_k : float or None
        What the sender means by its curve minus the bath; None where the curve says nothing. [K]
    is_held : bool
        Whether it belongs to a plateau.
    """

    life: str
    time_s: float
    temperature_c: float
    resistance_ohm: float
    difference_k: float | None
    is_held: bool


def course_chart_svg(
    readings: Sequence[DrawnReading],
    curve: ReferenceCurve,
    *,
    said: str,
    fahrenheit: bool = False,
    surface: Surface = Surface.PAGE,
    width_in: float = 4.6,
    height_in: float = 4.2,
) -> str:
    """Way of a run as SVG text; the same readings give the same characters.

    Parameters
    ----------
    readings : sequence of DrawnReading
        In order of time.
    curve : ReferenceCurve
        Dashed, or dots where it judges at its printed rows only.
    said : str
        What a screen reader says of it.
    fahrenheit : bool
    surface : Surface
    width_in, height_in : float
        Size. [in]

    Raises
    ------
    ValueError
        If there is no reading.
    """
    if not readings:
        raise ValueError("The picture of a way needs at least one reading.")

    def draw(figure: "Figure") -> None:
        left, width = 0.13, 0.84
        bottom, gap, top = 0.36 / height_in, 0.34 / height_in, 0.26 / height_in
        both = 1.0 - bottom - gap - top
        upper = figure.add_axes((left, bottom + 0.4 * both + gap, width, 0.6 * both))
        lower = figure.add_axes((left, bottom, width, 0.4 * both), sharex=upper)
        _draw_resistance(upper, readings, curve, fahrenheit=fahrenheit)
        _draw_differences(lower, readings, fahrenheit=fahrenheit)

    return drawn_svg(
        draw,
        width_in=width_in,
        height_in=height_in,
        surface=surface,
        title="The sender's way: resistance against bath temperature, and sender minus bath",
        said=said,
        salt=_SALT,
    )


def _draw_resistance(
    axes: "Axes", readings: Sequence[DrawnReading], curve: ReferenceCurve, *, fahrenheit: bool
) -> None:
    axes.set_yscale("log")
    low_c = min(reading.temperature_c for reading in readings)
    high_c = max(reading.temperature_c for reading in readings)
    side_k = max(0.04 * (high_c - low_c), 1.0)
    rows = _curve_between(curve, low_c - side_k, high_c + side_k)
    only_rows = curve.judges_only_printed_rows
    axes.plot(
        [_degrees(temperature_c, fahrenheit) for temperature_c in rows],
        [curve.nominal_ohm(temperature_c) for temperature_c in rows],
        color=ON_PAPER.soft,
        linewidth=1.0,
        linestyle="none" if only_rows else (0, (5, 2)),
        marker="o" if only_rows else "",
        markersize=4.5,
        zorder=2,
    )
    for branch in _branches(readings):
        axes.plot(
            [_degrees(reading.temperature_c, fahrenheit) for reading in branch],
            [reading.resistance_ohm for reading in branch],
            color=ON_PAPER.line,
            linewidth=1.3,
            zorder=3,
        )
    _ring(axes, [(held.temperature_c, held.resistance_ohm) for held in _held(readings)], fahrenheit)
    axes.set_xlim(_degrees(low_c - side_k, fahrenheit), _degrees(high_c + side_k, fahrenheit))
    _dress(axes, "resistance in Ω; dashed: its curve; ring: held")
    ohm_ticks(axes)
    axes.tick_params(labelbottom=False)


def _draw_differences(axes: "Axes", readings: Sequence[DrawnReading], *, fahrenheit: bool) -> None:
    axes.axhline(0.0, color=ON_PAPER.soft, linewidth=1.0, linestyle=(0, (5, 2)), zorder=2)
    for branch in _branches([reading for reading in readings if reading.difference_k is not None]):
        axes.plot(
            [_degrees(reading.temperature_c, fahrenheit) for reading in branch],
            [reading.difference_k for reading in branch],
            color=ON_PAPER.line,
            linewidth=1.0,
            zorder=3,
        )
    held = [
        (reading.temperature_c, reading.difference_k)
        for reading in _held(readings)
        if reading.difference_k is not None
    ]
    _ring(axes, held, fahrenheit)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -0.5), max(high, 0.5))
    axes.locator_params(axis="y", nbins=5)
    _dress(axes, "sender minus bath in K")
    axes.set_xlabel(f"bath in {'°F' if fahrenheit else '°C'}", loc="right", labelpad=1.5)
    axes.xaxis.label.set(color=ON_PAPER.line, fontsize=LETTER_PT)


def _curve_between(curve: ReferenceCurve, low_c: float, high_c: float) -> list[float]:
    """Temperatures at which the curve is drawn. [°C]"""
    if curve.judges_only_printed_rows:
        return [row_c for row_c in curve.printed_temperatures_c if low_c <= row_c <= high_c]
    first, last = max(low_c, curve.valid_from_c), min(high_c, curve.valid_to_c)
    if first >= last:
        return []
    return [first + (last - first) * step / _STEPS for step in range(_STEPS + 1)]


def _branches(readings: Sequence[DrawnReading]) -> Iterator[list[DrawnReading]]:
    """Stretches without a gap."""
    branch: list[DrawnReading] = []
    for reading in readings:
        if branch and (
            reading.life != branch[-1].life or reading.time_s - branch[-1].time_s > _LONGEST_GAP_S
        ):
            yield branch
            branch = []
        branch.append(reading)
    if branch:
        yield branch


def _held(readings: Sequence[DrawnReading]) -> list[DrawnReading]:
    """Middle reading of each plateau."""
    middles: list[DrawnReading] = []
    stretch: list[DrawnReading] = []
    for reading in (*readings, None):
        if reading is not None and reading.is_held:
            stretch.append(reading)
        elif stretch:
            middles.append(stretch[len(stretch) // 2])
            stretch = []
    return middles


def _ring(axes: "Axes", places: Sequence[tuple[float, float]], fahrenheit: bool) -> None:
    axes.plot(
        [_degrees(temperature_c, fahrenheit) for temperature_c, _ in places],
        [height for _, height in places],
        color=ON_PAPER.line,
        linestyle="none",
        marker="o",
        markersize=7.0,
        markerfacecolor="none",
        markeredgewidth=1.1,
        zorder=4,
    )


def _dress(axes: "Axes", what: str) -> None:
    for name in ("top", "right"):
        axes.spines[name].set_visible(False)
    for name in ("left", "bottom"):
        axes.spines[name].set(color=ON_PAPER.soft, linewidth=0.7)
    axes.tick_params(colors=ON_PAPER.line, width=0.7, length=3, labelsize=LETTER_PT)
    axes.set_title(what, loc="left", fontsize=LETTER_PT, color=ON_PAPER.line)


def _degrees(temperature_c: float, fahrenheit: bool) -> float:
    return fahrenheit_from_celsius(temperature_c) if fahrenheit else temperature_c
