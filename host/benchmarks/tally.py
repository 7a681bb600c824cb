"""Intervals counted against the truth, temperature by temperature."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from calibration.bench_stand import BenchPoint


@dataclass(slots=True)
class Tally:
    """Errors of a certificate and its U, by temperature.

    Attributes
    ----------
    wrong_k, expanded_u_k : dict[float, list[float]]
        Certified minus true error, and U. [K]
    """

    wrong_k: dict[float, list[float]] = field(default_factory=dict)
    expanded_u_k: dict[float, list[float]] = field(default_factory=dict)

    def add(self, at_c: float, judged: BenchPoint, true_error_k: float) -> None:
        """Count one interval."""
        self.wrong_k.setdefault(at_c, []).append(judged.point.error_k - true_error_k)
        self.expanded_u_k.setdefault(at_c, []).append(judged.point.expanded_u_k)

    @property
    def temperatures_c(self) -> list[float]:
        """Where intervals were counted, rising. [°C]"""
        return sorted(self.wrong_k)

    def coverage(self, at_c: float) -> float:
        """Share of the intervals that contain the truth."""
        return float(np.mean(np.abs(self.wrong_k[at_c]) <= np.array(self.expanded_u_k[at_c])))

    def mean_u_k(self, at_c: float) -> float:
        """Mean expanded uncertainty. [K]"""
        return float(np.mean(self.expanded_u_k[at_c]))

    def largest_u_k(self, at_c: float) -> float:
        """Largest expanded uncertainty. [K]"""
        return float(np.max(self.expanded_u_k[at_c]))

    def rms_k(self, at_c: float) -> float:
        """Root mean square of certified minus true. [K]"""
        return float(np.sqrt(np.mean(np.square(self.wrong_k[at_c]))))

    def row(self, way: str, at_c: float) -> tuple[str, ...]:
        """Cells of a table: way, temperature, count, coverage, over-coverage, mean and largest U, rms."""
        share = 100.0 * self.coverage(at_c)
        return (
            way,
            f"{at_c:g}",
            f"{len(self.wrong_k[at_c])}",
            f"{share:.2f}",
            f"{share - 95.45:+.2f}",
            f"{self.mean_u_k(at_c):.3f}",
            f"{self.largest_u_k(at_c):.3f}",
            f"{self.rms_k(at_c):.3f}",
        )

    def as_data(self) -> dict[str, Any]:
        """Numbers for the JSON file."""
        return {
            f"{at_c:g}": {
                "count": len(self.wrong_k[at_c]),
                "coverage": self.coverage(at_c),
                "mean_u_k": self.mean_u_k(at_c),
                "largest_u_k": self.largest_u_k(at_c),
                "rms_k": self.rms_k(at_c),
            }
            for at_c in self.temperatures_c
        }


COLUMNS = (
    "way",
    "°C",
    "intervals",
    "cover %",
    "over 95.45 %",
    "mean U in K",
    "largest U in K",
    "rms error in K",
)


def draw_tallies(ways: dict[str, Tally]) -> Callable[[Any], None]:
    """Figure: certified minus true, in units of U, with the share inside written above."""

    def draw(figure: Any) -> None:
        axes = figure.subplots(1, len(ways), sharey=True, squeeze=False)[0]
        for place, (way, tally) in zip(axes, ways.items(), strict=True):
            scaled = [
                np.array(tally.wrong_k[t]) / np.array(tally.expanded_u_k[t]) for t in tally.temperatures_c
            ]
            place.violinplot(scaled, positions=tally.temperatures_c, widths=8.0, showextrema=False)
            for at_c in tally.temperatures_c:
                place.text(at_c, 1.55, f"{100.0 * tally.coverage(at_c):.1f} %", ha="center", fontsize=7)
            place.axhline(1.0, linestyle="--", linewidth=0.8)
            place.axhline(-1.0, linestyle="--", linewidth=0.8)
            place.set_ylim(-1.8, 1.8)
            place.set_title(way, fontsize=9)
            place.set_xlabel("temperature in °C")
        axes[0].set_ylabel("certified minus true error, in U")

    return draw
