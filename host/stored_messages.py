"""When the desk says `stored`, and what it says (protocol, rule 10)."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from calibration.contract.presence import Stored, encode_stored
from calibration.contract.topics import topic
from host.store.identity import Identity

WINDOW = 200
LATEST_S = 0.25
HEARTBEAT_S = 10.0
_BOOTS_AT_MOST = 1000  # keeps the message well under the limit of the wire

Keep = Callable[[str], tuple[str, int] | None]


@dataclass(slots=True)
class _Station:
    watermarks: dict[str, int]
    named: set[str] = field(default_factory=set)
    said_s: float | None = None
    said_watermarks: dict[str, int] = field(default_factory=dict)
    rose_s: float | None = None
    at_once: bool = True


class StoredMessages:
    """Watermarks to be said, by station.

    Parameters
    ----------
    identity : Identity
        Who says it.
    keep : Callable[[str], tuple[str, int] | None]
        (boot, seq) where an open run of a station began, or None.
    wall_s : Callable[[], float]
        Monotonic wall time. [s]
    """

    def __init__(
        self, identity: Identity, keep: Keep, *, wall_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._identity = identity
        self._keep = keep
        self._wall_s = wall_s
        self._stations: dict[str, _Station] = {}

    def add_station(self, station: str, watermarks: Mapping[str, int]) -> None:
        """Make a station known, with the watermarks of all its boots."""
        if station not in self._stations:
            newest = {max(watermarks)} if watermarks else set()
            self._stations[station] = _Station(watermarks=dict(watermarks), named=newest)

    def watermarks(self, station: str) -> Mapping[str, int]:
        """Watermarks of a station as they are now."""
        return self._stations[station].watermarks

    def rise(self, station: str, boot: str, w: int) -> None:
        """Note a watermark that moved."""
        entry = self._stations[station]
        entry.watermarks[boot] = w
        entry.named.add(boot)
        if entry.rose_s is None:
            entry.rose_s = self._wall_s()

    def answer_presence(self, station: str, boots: set[str]) -> None:
        """Say `stored` at once, of the boots that the rig holds."""
        entry = self._stations[station]
        entry.named = boots
        entry.at_once = True

    def say_all_again(self) -> None:
        """Say everything at once, because a broker may have forgotten it."""
        for entry in self._stations.values():
            entry.at_once = True

    def due(self, is_waiting: Callable[[str], bool]) -> list[str]:
        """Stations of which it is time to speak.

        Parameters
        ----------
        is_waiting : Callable[[str], bool]
            Tells whether more readings of a station have arrived and wait to be committed.
        """
        now_s = self._wall_s()
        return [name for name, entry in self._stations.items() if _is_due(entry, now_s, is_waiting(name))]

    def next_due_in_s(self) -> float:
        """Wall time until something may become due if nothing else happens. [s]"""
        now_s = self._wall_s()
        times_s = [now_s + HEARTBEAT_S]
        for entry in self._stations.values():
            times_s.append((entry.said_s or now_s) + HEARTBEAT_S)
            if entry.rose_s is not None:
                times_s.append(entry.rose_s + LATEST_S)
        return max(0.0, min(times_s) - now_s)

    def message(self, station: str) -> tuple[str, bytes]:
        """Topic and payload of what is to be said now."""
        entry = self._stations[station]
        named = sorted(entry.named)[-_BOOTS_AT_MOST:]
        stored = Stored(
            store=self._identity.store,
            epoch=self._identity.epoch,
            n=self._identity.next_n(),
            boots={boot: entry.watermarks.get(boot, 0) for boot in named},
            window=WINDOW,
            keep=self._keep(station),
        )
        return topic(station, "stored"), encode_stored(stored)

    def said(self, station: str) -> None:
        """Note that it was said."""
        entry = self._stations[station]
        entry.said_s = self._wall_s()
        entry.said_watermarks = dict(entry.watermarks)
        entry.rose_s = None
        entry.at_once = False


def _is_due(entry: _Station, now_s: float, is_waiting: bool) -> bool:
    if entry.at_once or entry.said_s is None or now_s - entry.said_s >= HEARTBEAT_S:
        return True
    if entry.rose_s is None:
        return False
    if not is_waiting or now_s - entry.rose_s >= LATEST_S:
        return True
    rise = max(w - entry.said_watermarks.get(boot, 0) for boot, w in entry.watermarks.items())
    return rise >= WINDOW // 4
