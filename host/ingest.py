"""From the broker into the store: one thread listens, one thread writes.

What has arrived is committed as soon as the last commit is done; a batch is never waited
for. Then the stations hear how far they are stored.
"""

import queue
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy.exc import OperationalError, SQLAlchemyError

from calibration.contract.messages import MessageError
from calibration.contract.presence import Obeys, Presence, Stored, decode_presence, decode_stored
from calibration.contract.topics import station_and_kind
from host.live import Live
from host.station_ties import StationTies, has_said_more
from host.store import Store
from host.store.aside import Refusal
from host.store.packs import Arrival, Taken
from host.store.stations import Station
from host.stored_messages import HEARTBEAT_S, Keep, StoredMessages
from host.wire import Access, Wire

BATCH_ROWS = 200
BATCH_S = 0.1
_QUEUE_LENGTH = 10_000
_PATIENCE_WHEN_FULL_S = 5.0
_RETRY_S = 1.0


@dataclass(frozen=True, slots=True)
class _Message:
    station: str
    kind: str
    payload: bytes
    retained: bool
    received_utc_s: float


class _Signal:
    """Something that is no message but has its place in the queue."""


_CAME_UP = _Signal()
_STOP = _Signal()


class Ingest:
    """Takes readings, presence and answers from the broker.

    Parameters
    ----------
    store, live : Store, Live
        What is written, and what is filled after the commit.
    host, port : str, int
        The broker.
    keep : Callable[[str], tuple[str, int] | None]
        (boot, seq) where an open run of a station began, or None. In the writer's thread.

    Attributes
    ----------
    dropped : int
        Messages let go because the store was too slow for too long; the rigs send them again.
    """

    def __init__(
        self,
        store: Store,
        live: Live,
        *,
        host: str = "127.0.0.1",
        port: int = 1883,
        keep: Keep = lambda station: None,
        access: Access | None = None,
    ) -> None:
        self._store = store
        self._live = live
        self._queue: queue.Queue[_Message | _Signal] = queue.Queue(_QUEUE_LENGTH)
        self._waiting: Counter[str] = Counter()
        self._waiting_lock = threading.Lock()
        self._stations: set[str] = set()
        self._stored = StoredMessages(store.identity, keep)
        self._take_answer: Callable[[str, bytes], None] = lambda station, payload: None
        self._giving_up = threading.Event()
        self._writer = threading.Thread(target=self._write, name="ingest-writer", daemon=True)
        self._looked_s = float("-inf")
        self._copied: dict[str, str | None] = {}
        self._rigs: dict[str, str | None] = {}
        self.dropped = 0
        self._ties = StationTies(store.identity.store)
        self._own_store = store.identity.store.encode("ascii")
        self._wire = Wire(
            f"desk-{store.identity.store}",
            host,
            port,
            deliver=self._deliver,
            came_up=self._note_up,
            access=access,
        )

    @property
    def wire(self) -> Wire:
        """The connection to the broker."""
        return self._wire

    def give_answers_to(self, take: Callable[[str, bytes], None]) -> None:
        """Set who takes the messages of the answers topics, as (station, payload)."""
        self._take_answer = take

    def publish(self, topic_text: str, payload: bytes) -> bool:
        """Publish something else over the same connection; False where there is none."""
        return self._wire.publish(topic_text, payload)

    def start(self) -> None:
        """Start listening and writing."""
        self._writer.start()
        self._wire.start()

    def stop(self) -> None:
        """Commit all that has arrived, say so, and disconnect."""
        self._giving_up.set()
        if self._writer.is_alive():
            self._queue.put(_STOP)
            self._writer.join()
        self._wire.stop()

    # -- the listener's thread ----------------------------------------------------------------

    def _deliver(self, topic_text: str, payload: bytes, retained: bool) -> None:
        known = station_and_kind(topic_text)
        if known is None:  # no station id, but under our subscription
            known = topic_text.split("/")[2][:64], topic_text.rsplit("/", 1)[-1][:16]
        station, kind = known
        if kind == "stored" and not retained and self._own_store in payload:
            return  # this desk's own word, handed back
        with self._waiting_lock:
            self._waiting[station] += 1
        self._put(_Message(station, kind, payload, retained, self._store.now()))

    def _note_up(self) -> None:
        self._put(_CAME_UP)

    def _put(self, item: _Message | _Signal) -> None:
        try:
            # Waiting here makes the broker wait, which is what a short jam needs.
            self._queue.put(item, timeout=_PATIENCE_WHEN_FULL_S)
        except queue.Full:
            self.dropped += 1
            if isinstance(item, _Message):
                self._no_longer_waiting([item])

    # -- the writer's thread ------------------------------------------------------------------

    def _write(self) -> None:
        try:
            self._look_for_stations()
            going_on = True
            while going_on:
                items = self._next_batch()
                going_on = _STOP not in items
                self._work_off(items)
        except BaseException:
            self._live.trouble = "This desk has stopped taking readings: start it again and report its log."
            raise

    def _work_off(self, items: Sequence[_Message | _Signal]) -> None:
        messages = [item for item in items if isinstance(item, _Message)]
        if _CAME_UP in items:
            self._stored.say_all_again()
        try:
            self._take(messages)
            self._no_longer_waiting(messages)
            self._say_stored()
        except OperationalError as error:
            # Readings have their own patience below. What else was in the batch is repeated by the rigs.
            self._no_longer_waiting(messages)
            self._note_store_trouble(error)
            self._giving_up.wait(_RETRY_S)

    def _next_batch(self) -> list[_Message | _Signal]:
        pause_s = self._stored.next_due_in_s() if self._wire.is_up else HEARTBEAT_S
        try:
            items = [self._queue.get(timeout=pause_s)]
        except queue.Empty:
            return []
        until_s = time.monotonic() + BATCH_S
        while len(items) < BATCH_ROWS and items[-1] is not _STOP and time.monotonic() < until_s:
            try:
                items.append(self._queue.get_nowait())
            except queue.Empty:
                break
        return items

    def _take(self, messages: Sequence[_Message]) -> None:
        self._take_readings([message for message in messages if message.kind == "readings"])
        for message in messages:
            if message.kind == "presence":
                self._take_presence(message)
            elif message.kind == "stored":
                self._take_stored(message)
            elif message.kind == "answers":
                self._take_answer(message.station, message.payload)
        for station in {one.station for one in messages if not one.retained and one.kind != "stored"}:
            # A retained message was said long ago: it proves nobody's presence.
            if self._is_known(station):
                self._live.hear(station)

    def _take_readings(self, messages: Sequence[_Message]) -> None:
        arrivals = [
            Arrival(station=message.station, payload=message.payload, received_utc_s=message.received_utc_s)
            for message in messages
        ]
        if not arrivals:
            return
        taken = self._commit(arrivals)
        if taken is None:
            return
        for (station, boot), w in taken.watermarks.items():
            self._is_known(station)
            self._stored.rise(station, boot, w)
            self._live.raise_watermarks(station, {boot: w})
        self._live.add(taken.readings)

    def _commit(self, arrivals: Sequence[Arrival]) -> Taken | None:
        """Store a batch, again and again where the disk does not take it; None where told to stop."""
        while True:
            try:
                taken = self._store.packs.take(arrivals)
                self._live.trouble = None
                return taken
            except OperationalError as error:
                self._note_store_trouble(error)
                if self._giving_up.wait(_RETRY_S):
                    return None
            except (SQLAlchemyError, ValueError) as error:
                return self._commit_one_by_one(arrivals, error)

    def _note_store_trouble(self, error: OperationalError) -> None:
        self._live.trouble = f"The store cannot be written, readings wait at the rigs: {error.orig}"

    def _commit_one_by_one(self, arrivals: Sequence[Arrival], error: Exception) -> Taken | None:
        """Find the message that the database itself refuses, so that it stops nobody else."""
        if len(arrivals) == 1:
            message = arrivals[0]
            refusal = Refusal(
                station=message.station, known=True, kind="readings", reason=f"the store refuses it: {error}"
            )
            self._store.aside.keep(message.payload, refusal, message.received_utc_s)
            return Taken(readings=(), watermarks={}, aside=1)
        parts = [part for arrival in arrivals if (part := self._commit([arrival])) is not None]
        return Taken(
            readings=tuple(pack for part in parts for pack in part.readings),
            watermarks={key: w for part in parts for key, w in part.watermarks.items()},
            aside=sum(part.aside for part in parts),
        )

    def _take_presence(self, message: _Message) -> None:
        station = message.station
        known = self._is_known(station)
        if not known:
            self._refuse(
                message, f"unknown station: add it with 'ohmbath station add {station}'", known=False
            )
            return
        try:
            presence = decode_presence(message.payload)
        except MessageError as error:
            self._refuse(message, str(error), known=True)
            return
        bound = self._store.stations.meet(station, presence.rig)
        if bound != presence.rig:
            words = f"rig {presence.rig} speaks as this station, which is tied to rig {bound}"
            self._refuse(message, words, known=True)
            self._live.note_trouble(station, f"Another {words}: give one of them a name of its own.")
            return
        copied = self._ties.hear_presence(station, presence, live=not message.retained)
        if copied is not None and self._copied.get(station) is None:
            self._store.stations.note_copied(station, copied)
            self._copied[station] = copied
        if self._live.take_presence(station, presence):
            self._note_older_copy(station, presence)
            self._stored.answer_presence(station, {*presence.holds, presence.boot})
        self._say_trouble(station)

    def _take_stored(self, message: _Message) -> None:
        """Take what stands on a station's `stored` topic: another desk's word, or an old one of ours."""
        if not self._is_known(message.station):
            return
        try:
            stored = decode_stored(message.payload) if message.payload else None
        except MessageError as error:
            self._refuse(message, str(error), known=True)
            return
        self._ties.hear_stored(message.station, stored)
        if stored is not None and stored.store == self._store.identity.store:
            self._note_behind(message.station, stored)
        self._say_trouble(message.station)

    def _note_older_copy(self, station: str, presence: Presence) -> None:
        obeys = presence.obeys
        if obeys is not None and obeys.store == self._store.identity.store:
            self._note_behind(station, obeys)

    def _note_behind(self, station: str, said: Stored | Obeys) -> None:
        """Begin a new epoch where this store has said more than it knows: its file was copied back."""
        identity = self._store.identity
        if said.epoch < identity.epoch:
            return
        behind = identity.is_behind(epoch=said.epoch, n=said.n)
        if not behind and not has_said_more(said.boots, self._stored.watermarks(station)):
            return
        self._store.chain.open_series(identity.raise_epoch(said.epoch))
        self._live.notice = (
            "This store is an older copy of itself: it had said more than it now knows. It began epoch "
            f"{identity.epoch}, and the rigs send again what they still hold. What they no longer hold is "
            "declared as gaps."
        )
        self._stored.say_all_again()

    def _say_trouble(self, station: str) -> None:
        self._live.note_trouble(station, self._copied.get(station) or self._ties.words(station))

    def _refuse(self, message: _Message, reason: str, *, known: bool) -> None:
        refusal = Refusal(station=message.station, known=known, kind=message.kind, reason=reason)
        self._store.aside.keep(message.payload, refusal, message.received_utc_s)

    def _say_stored(self) -> None:
        if time.monotonic() - self._looked_s >= HEARTBEAT_S:
            self._look_for_stations()
        if not self._wire.is_up:
            return
        for station in self._stored.due(self._is_waiting):
            if not self._ties.may_write(station):
                self._stored.said(station)
                continue
            topic_text, payload = self._stored.message(station)
            if self._wire.publish(topic_text, payload, retain=True):
                self._stored.said(station)

    def _is_known(self, station: str) -> bool:
        if station not in self._stations:
            self._look_for_stations()
        return station in self._stations

    def _look_for_stations(self) -> None:
        """Find stations that a command added while this desk was at work."""
        self._looked_s = time.monotonic()
        for entry in self._store.stations.all():
            self._look_at_ties(entry)
            if entry.station not in self._stations:
                self._stored.add_station(entry.station, self._store.packs.watermarks(entry.station))
                self._live.add_station(entry.station)
                self._stations.add(entry.station)

    def _look_at_ties(self, entry: Station) -> None:
        """See what a command changed: a station that was joined anew, or takes another desk's place."""
        was_copied = self._copied.get(entry.station)
        self._ties.replace(entry.station, entry.replaces_store)
        if entry.rig != self._rigs.get(entry.station):
            self._rigs[entry.station] = entry.rig
            if entry.rig is None:
                self._ties.forget_rig(entry.station)
                self._live.forget_presence(entry.station)
        self._copied[entry.station] = entry.copied
        if was_copied is not None and entry.copied is None:
            self._say_trouble(entry.station)

    def _is_waiting(self, station: str) -> bool:
        with self._waiting_lock:
            return self._waiting[station] > 0

    def _no_longer_waiting(self, messages: Sequence[_Message]) -> None:
        with self._waiting_lock:
            self._waiting.subtract(message.station for message in messages)
            for station in {message.station for message in messages}:
                if self._waiting[station] <= 0:
                    del self._waiting[station]
