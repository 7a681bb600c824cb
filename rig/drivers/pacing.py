"""Waiting within one pass: settling, and conversions at even distances."""

import time
from typing import Protocol


class Pacer(Protocol):
    """Spreads what a driver does over time. On metal it waits; in simulation it moves the chips' own time."""

    def wait(self, duration_s: float) -> None:
        """Return after ``duration_s``. [s]"""

    def now_s(self) -> float:
        """Time within a row of slots or a burst; only differences mean anything. [s]"""

    def start(self, interval_s: float) -> None:
        """Begin a row of slots, ``interval_s`` apart. [s]"""

    def next(self) -> None:
        """Return at the beginning of the next slot."""


class RealPacer:
    """Waits by the machine's monotonic clock. Untested on metal.

    A slot of 0.28 ms is shorter than what ``sleep`` holds to: slots are awaited by looking at the clock.
    """

    def __init__(self) -> None:
        self._interval_s = 0.0
        self._due_s = 0.0

    def wait(self, duration_s: float) -> None:
        """Sleep for ``duration_s``. [s]"""
        time.sleep(duration_s)

    def now_s(self) -> float:
        """Return the machine's monotonic time. [s]"""
        return time.monotonic()

    def start(self, interval_s: float) -> None:
        """Begin a row of slots now."""
        self._interval_s = interval_s
        self._due_s = time.monotonic()

    def next(self) -> None:
        """Wait for the next slot; a slot that was missed is taken at once, the later ones stay in place."""
        while time.monotonic() < self._due_s:
            pass
        self._due_s += self._interval_s
