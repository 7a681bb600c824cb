"""How long the shop keeps readings that no run rests on: a setting, off until it is set."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from host.people.deed import Deed
from host.store import Store
from host.store.audit import THE_DESK

_log = logging.getLogger(__name__)
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cleared:
    """What was cleared: how many readings, and from before which time. [s]"""

    count: int
    before_utc_s: float


def clear_idle_readings(
    store: Store, *, older_than_days: int | None = None, person: str = ""
) -> Cleared | None:
    """Clear what is idle and older than the shop keeps it; None where it keeps everything.

    Runs keep what they cite for ever. What was cleared stands in the audit list.
    """
    days = store.settings.read().idle_readings_days if older_than_days is None else older_than_days
    if days is None:
        return None
    now_utc_s = store.now()
    before_utc_s = now_utc_s - days * _DAY_S
    count = store.idle_readings.clear(before_utc_s, now_utc_s=now_utc_s)
    if count:
        said = time.strftime("%Y-%m-%d", time.gmtime(before_utc_s))
        store.audit.add(
            Deed.READINGS_CLEARED,
            role=THE_DESK,
            subject=f"{count:,} idle readings from before {said}",
        )
        _log.info("%d idle readings from before %s were cleared", count, said)
    return Cleared(count=count, before_utc_s=before_utc_s)


class DailyClearing:
    """Clears once a day while the desk is at work.

    Parameters
    ----------
    store : Store
    wall : callable
        Monotonic seconds.
    """

    def __init__(self, store: Store, wall: Callable[[], float] = time.monotonic) -> None:
        self._store = store
        self._wall = wall
        self._last_s: float | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="clearing", daemon=True)

    def start(self) -> None:
        """Begin; the first time is an hour after the desk's start, when its backlog is in."""
        self._last_s = self._wall() - _DAY_S + _HOUR_S
        self._thread.start()

    def stop(self) -> None:
        """Leave off."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()

    def clear_if_due(self) -> Cleared | None:
        """Clear where a day has passed since the last time."""
        if self._last_s is not None and self._wall() - self._last_s < _DAY_S:
            return None
        self._last_s = self._wall()
        return clear_idle_readings(self._store)

    def _work(self) -> None:
        while not self._stopping.wait(_LOOK_S):
            try:
                self.clear_if_due()
            except Exception:  # noqa: BLE001  a day without clearing is no reason to stop the desk
                _log.exception("idle readings could not be cleared; it is tried again tomorrow")


_HOUR_S = 3600.0
_LOOK_S = 60.0
