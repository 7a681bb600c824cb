"""Readings of a station one after the other, from where the last event of a run points."""

from collections.abc import Sequence

from calibration.contract.readings import ReadingPack
from host.store import Store

# Readings taken from the store at once.
_CHUNK = 400


class PackCursor:
    """Where a run has come in the readings of its station.

    Parameters
    ----------
    store : Store
    station : str
    mark : tuple[str, int] or None
        (boot, seq) behind which to begin; None begins with what comes in from now on.
    """

    def __init__(self, store: Store, station: str, mark: tuple[str, int] | None) -> None:
        self._store, self._station = store, station
        self._at = self._now() if mark is None else (mark[0], mark[1] + 1)

    def next(self) -> Sequence[ReadingPack]:
        """Readings not yet given, up to the watermark; at its end on to a newer boot."""
        boot, first = self._at
        last = min(self._store.watermark(self._station, boot), first + _CHUNK - 1) if boot else 0
        if last >= first:
            self._at = (boot, last + 1)
            return self._store.readings(self._station, boot, first, last)
        newest = self._store.latest_boot(self._station)
        if newest is None or newest <= boot:
            return ()
        self._at = (newest, 1)
        return self.next()

    def _now(self) -> tuple[str, int]:
        boot = self._store.latest_boot(self._station)
        return ("", 1) if boot is None else (boot, self._store.watermark(self._station, boot) + 1)
