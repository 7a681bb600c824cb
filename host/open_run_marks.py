"""Where the open run of a station began: rigs that run short of room keep everything from there on."""

import time
from collections.abc import Callable

from host.store import Store

_LOOK_EVERY_S = 1.0


class OpenRunMarks:
    """(boot, number) where the open run of each station began, looked up once a second.

    A run began where its readings were accounted for when this desk first saw it open, or where an earlier
    desk process had cited it first.

    Parameters
    ----------
    wall_s : Callable[[], float]
        Monotonic wall time. [s]
    """

    def __init__(self, store: Store, *, wall_s: Callable[[], float] = time.monotonic) -> None:
        self._store = store
        self._wall_s = wall_s
        self._looked_s = float("-inf")
        self._began: dict[int, tuple[str, tuple[str, int]]] = {}  # by run: station, mark

    def __call__(self, station: str) -> tuple[str, int] | None:
        """Mark of a station, None where no run is open."""
        if self._wall_s() - self._looked_s >= _LOOK_EVERY_S:
            self._looked_s = self._wall_s()
            self._look()
        marks = [mark for known, mark in self._began.values() if known == station]
        return min(marks, default=None)

    def _look(self) -> None:
        open_runs = self._store.runs.open()
        at_stations = [(run.number, run.station) for run in open_runs if run.station is not None]
        began = {run: self._began[run] for run, _ in at_stations if run in self._began}
        for run, station in at_stations:
            if run not in began:
                mark = self._cited(run) or self._now(station)
                if mark is not None:
                    began[run] = station, mark
        self._began = began

    def _cited(self, run: int) -> tuple[str, int] | None:
        marks = []
        for _, payload in self._store.runs.events(run):
            readings = payload.get("readings")
            if isinstance(readings, dict) and "from" in readings:
                marks.append((str(readings["boot"]), int(readings["from"])))
        return min(marks, default=None)

    def _now(self, station: str) -> tuple[str, int] | None:
        boot = self._store.latest_boot(station)
        return None if boot is None else (boot, self._store.watermark(station, boot) + 1)
