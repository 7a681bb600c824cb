"""Ticks of an axis of ohms on a log scale."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def ohm_ticks(axes: "Axes") -> None:
    """Ohms in plain digits at 1, 2 and 5 of each decade that is in sight."""
    low, high = axes.get_ylim()
    ticks = [first * 10.0**power for power in range(-1, 8) for first in (1, 2, 5)]
    seen = [tick for tick in ticks if low <= tick <= high]
    axes.set_yticks(seen, [f"{tick:,.10g}" for tick in seen])
    axes.set_yticks([], minor=True)
