"""Readings that stand still when nothing real does."""

from collections.abc import Hashable

# A witness may rest on one code in a settled bath. It may not while its neighbour moves by this share of R,
# some 2 K of an NTC.
NEIGHBOUR_MOVED = 0.08
WITNESS_FROZEN_AFTER_S = 60.0


class RepeatWatch:
    """Counts how often the very same reading came in a row.

    Parameters
    ----------
    most : int
        As many in a row are frozen.
    """

    def __init__(self, *, most: int) -> None:
        self._most = most
        self._last: Hashable = None
        self._count = 0

    def is_frozen(self, reading: Hashable) -> bool:
        """Take one more reading; tell whether it has come too often."""
        if reading != self._last:
            self._last = reading
            self._count = 0
        self._count += 1
        return self._count >= self._most


class NeighbourWatch:
    """Holds a slow thermometer against the probe beside it: it must move when the probe does."""

    def __init__(self) -> None:
        self._raw: float | None = None
        self._since_s = 0.0
        self._lowest_ohm = self._highest_ohm = 0.0

    def is_frozen(self, *, raw: float, probe_ohm: float | None, now_s: float) -> bool:
        """Take one pass; tell whether the count stood still while the probe moved. [count, Ω, s]"""
        if raw != self._raw:
            self._raw, self._since_s = raw, now_s
            self._lowest_ohm = self._highest_ohm = 0.0
        if probe_ohm is None:
            return False
        if self._lowest_ohm == 0.0:
            self._lowest_ohm = self._highest_ohm = probe_ohm
        self._lowest_ohm = min(self._lowest_ohm, probe_ohm)
        self._highest_ohm = max(self._highest_ohm, probe_ohm)
        moved = self._highest_ohm > self._lowest_ohm * (1.0 + NEIGHBOUR_MOVED)
        return moved and now_s - self._since_s >= WITNESS_FROZEN_AFTER_S
