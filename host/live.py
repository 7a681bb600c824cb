"""What the stations say right now: a bounded ring for each, filled after the commit.

A page that follows a station reads from here and holds no database connection.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from calibration.contract.presence import Presence
from calibration.contract.readings import ReadingPack
from host.boot_clock import BootClock, ClockStep
from host.store import Store

RING_LENGTH = 2400  # ten minutes at 4 Hz
SILENT_AFTER_S = 10.0
CATCHING_UP_FROM = 200  # a full window: below it the rig is simply being answered


class StationState(StrEnum):
    """Whether a station is there. Wall time decides, not rig time."""

    LIVE = "live"
    SILENT = "silent"  # no message for a while
    GONE = "gone"  # its rig said good-bye, or the broker said it for it


@dataclass(frozen=True, slots=True, kw_only=True)
class StationLive:
    """One station at this moment.

    Attributes
    ----------
    station : str
        Its id.
    state : StationState
        Whether it is there.
    words : str
        The same for a person, with how much a rig still has to send.
    boot : str or None
        Boot of the newest presence or reading.
    latest : ReadingPack or None
        Newest reading.
    presence : Presence or None
        What the rig last said of itself.
    to_go : int
        Numbers in the rig's outbox above the watermark.
    silent_for_s : float or None
        Wall time since its last message, None where there was none in this desk's time. [s]
    newest_age_s : float or None
        Wall time since a reading of it came in, None where none did in this desk's time. [s]
    trouble : tuple[str, ...]
        Words for the person at the bench: the rig's own, then the desk's.
    first_synchronised : tuple or None
        Rig time and UTC of the first pass of its newest boot whose clock was synchronised. [s]
    clock_step : ClockStep or None
        Newest step of that boot's clock.
    """

    station: str
    state: StationState
    words: str
    boot: str | None
    latest: ReadingPack | None
    presence: Presence | None
    to_go: int
    silent_for_s: float | None
    newest_age_s: float | None
    trouble: tuple[str, ...]
    first_synchronised: tuple[float, float] | None
    clock_step: ClockStep | None


@dataclass(slots=True)
class _Ring:
    packs: deque[tuple[int, ReadingPack]]
    latest: ReadingPack | None = None
    presence: Presence | None = None
    heard_s: float | None = None
    read_s: float | None = None
    watermarks: dict[str, int] = field(default_factory=dict)
    trouble: str | None = None
    clock: BootClock = field(default_factory=BootClock)


class Live:
    """The rings of all stations, safe to use from any thread.

    Parameters
    ----------
    wall_s : Callable[[], float]
        Monotonic wall time. [s]
    length : int
        Readings kept of each station.
    """

    def __init__(self, *, wall_s: Callable[[], float] = time.monotonic, length: int = RING_LENGTH) -> None:
        self._wall_s = wall_s
        self._length = length
        self._changed = threading.Condition()
        self._cursor = 0
        self._rings: dict[str, _Ring] = {}
        self.trouble: str | None = None
        self.notice: str | None = None  # something to be told once, on every page, until the desk ends

    @classmethod
    def from_store(cls, store: Store) -> "Live":
        """Rings as they were when the desk last stopped."""
        live = cls()
        live.recall(store)
        return live

    def recall(self, store: Store) -> None:
        """Fill the rings with what a store holds."""
        for known in store.stations.all():
            self.add_station(known.station)
            newest = store.packs.recent(known.station, self._length)
            with self._changed:
                self._fill(newest)
                self._changed.notify_all()
            self._recall_clock(store, known.station)
            self.raise_watermarks(known.station, store.packs.watermarks(known.station))

    def add_station(self, station: str) -> None:
        """Make a station known."""
        with self._changed:
            self._ring(station)

    def add(self, packs: Iterable[ReadingPack]) -> None:
        """Take readings that have just been committed."""
        with self._changed:
            for station in self._fill(packs):
                self._ring(station).read_s = self._wall_s()
            self._changed.notify_all()

    def hear(self, station: str) -> None:
        """Note that a station said something just now."""
        with self._changed:
            self._ring(station).heard_s = self._wall_s()

    def take_presence(self, station: str, presence: Presence) -> bool:
        """Take what a rig says of itself; False where a newer one holds (protocol, rule 2)."""
        with self._changed:
            ring = self._ring(station)
            held = ring.presence
            if held is not None and (presence.boot, presence.connect) < (held.boot, held.connect):
                return False
            ring.presence = presence
            self._cursor += 1
            self._changed.notify_all()
            return True

    def forget_presence(self, station: str) -> None:
        """Let what a station's rig said go: it was joined anew, and another may speak next."""
        with self._changed:
            self._ring(station).presence = None

    def raise_watermarks(self, station: str, watermarks: Mapping[str, int]) -> None:
        """Note watermarks that moved."""
        with self._changed:
            self._ring(station).watermarks.update(watermarks)

    def note_trouble(self, station: str, words: str | None) -> None:
        """Set or clear what the desk itself has to say about a station."""
        with self._changed:
            self._ring(station).trouble = words
            self._cursor += 1
            self._changed.notify_all()

    def presence(self, station: str) -> Presence | None:
        """Return what the rig last said of itself."""
        with self._changed:
            ring = self._rings.get(station)
            return None if ring is None else ring.presence

    def stations(self) -> list[StationLive]:
        """All stations, by name."""
        with self._changed:
            return [self._view(station) for station in sorted(self._rings)]

    def station(self, station: str) -> StationLive | None:
        """One station, None where it is unknown."""
        with self._changed:
            return self._view(station) if station in self._rings else None

    def latest(self, station: str) -> ReadingPack | None:
        """Newest reading of a station, by boot and number."""
        with self._changed:
            ring = self._rings.get(station)
            return None if ring is None else ring.latest

    def newest(self, station: str, count: int) -> list[ReadingPack]:
        """Newest readings of a station that are in the ring, by boot and number, the oldest first."""
        with self._changed:
            ring = self._rings.get(station)
            packs = [] if ring is None else [pack for _, pack in ring.packs]
        return sorted(packs, key=lambda pack: (pack.boot, pack.seq))[-count:]

    def since(self, station: str, cursor: int = 0) -> tuple[list[ReadingPack], int]:
        """Readings that came after ``cursor``, in the order in which they were committed.

        Returns
        -------
        list[ReadingPack]
            What is still in the ring of it.
        int
            Cursor to ask with next time.
        """
        with self._changed:
            ring = self._rings.get(station)
            fresh: list[ReadingPack] = []
            for tag, pack in reversed(ring.packs if ring is not None else ()):
                if tag <= cursor:
                    break
                fresh.append(pack)
            return fresh[::-1], self._cursor

    def wait(self, cursor: int, timeout_s: float) -> int:
        """Wait until something changed after ``cursor``; return the cursor of now.

        The answer equals ``cursor`` where nothing changed in ``timeout_s`` of wall time.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._cursor > cursor, timeout_s)
            return self._cursor

    def _fill(self, packs: Iterable[ReadingPack]) -> set[str]:
        """Put readings into the rings; the stations that they are of."""
        stations = set()
        for pack in packs:
            ring = self._ring(pack.station)
            self._cursor += 1
            ring.packs.append((self._cursor, pack))
            ring.clock.hear(pack)
            if ring.latest is None or (pack.boot, pack.seq) > (ring.latest.boot, ring.latest.seq):
                ring.latest = pack
            stations.add(pack.station)
        return stations

    def _recall_clock(self, store: Store, station: str) -> None:
        """Ask the store for what came before the readings that a ring holds."""
        clock = self._ring(station).clock
        if clock.boot:
            clock.first_synchronised = store.packs.first_synchronised(station, clock.boot)

    def _ring(self, station: str) -> _Ring:
        if station not in self._rings:
            self._rings[station] = _Ring(packs=deque(maxlen=self._length))
        return self._rings[station]

    def _view(self, station: str) -> StationLive:
        ring = self._rings[station]
        silent_for_s = None if ring.heard_s is None else self._wall_s() - ring.heard_s
        state = _state(ring, silent_for_s)
        to_go = _to_go(ring)
        boots = [source.boot for source in (ring.presence, ring.latest) if source is not None]
        said = () if ring.presence is None else ring.presence.trouble
        own = tuple(words for words in (ring.trouble, self.trouble, self.notice) if words is not None)
        return StationLive(
            station=station,
            state=state,
            words=_words(state, to_go, silent_for_s),
            boot=max(boots, default=None),
            latest=ring.latest,
            presence=ring.presence,
            to_go=to_go,
            silent_for_s=silent_for_s,
            newest_age_s=None if ring.read_s is None else self._wall_s() - ring.read_s,
            trouble=(*said, *own),
            first_synchronised=ring.clock.first_synchronised,
            clock_step=ring.clock.last_step,
        )


def _state(ring: _Ring, silent_for_s: float | None) -> StationState:
    if ring.presence is not None and ring.presence.state == "gone":
        return StationState.GONE
    if silent_for_s is None or silent_for_s > SILENT_AFTER_S:
        return StationState.SILENT
    return StationState.LIVE


def _to_go(ring: _Ring) -> int:
    if ring.presence is None:
        return 0
    return sum(
        max(0, last - max(first - 1, ring.watermarks.get(boot, 0)))
        for boot, (first, last) in ring.presence.holds.items()
    )


def _words(state: StationState, to_go: int, silent_for_s: float | None) -> str:
    if state is StationState.GONE:
        words = "gone: its rig is off or out of reach"
    elif silent_for_s is None:
        words = "silent: no word from its rig since this desk was started"
    elif state is StationState.SILENT:
        words = f"silent for {silent_for_s:.0f} s"
    else:
        words = "live"
    if to_go >= CATCHING_UP_FROM:
        words += f", catching up, {to_go:,} to go" if state is StationState.LIVE else f", {to_go:,} to go"
    return words
