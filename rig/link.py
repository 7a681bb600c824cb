"""The rig's end of the wire: sends what the outbox holds, hears what the desk stored and orders."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from calibration.contract.messages import MessageError
from calibration.contract.orders import encode_answer
from calibration.contract.presence import Presence, Stored, decode_stored, encode_presence
from calibration.contract.topics import topic
from rig.bell import Bell
from rig.connection import BrokerAddress, BrokerConnection, ConnectionState, Message
from rig.desk_watch import DeskWatch
from rig.order_desk import OrderDesk
from rig.outbox import Heard, Outbox
from rig.outbox_file import OutboxFile
from rig.send_window import Batch, SendWindow
from rig.trouble import DESK_KNOWS_MORE, OTHER_STORE, TroubleBoard

log = logging.getLogger(__name__)

PRESENCE_HEARTBEAT_S = 4.0  # a station is silent after 10 s
OTHER_STORE_MEMORY_S = 30.0  # a desk says `stored` every 10 s
DESK_AWAY_S = 12.0  # longer without a live `stored` than a desk's heartbeat: it was away
_DESK_ANSWERS_WITHIN_S = 1.0  # a desk says `stored` at each presence; readings wait so long for it
FIRST_WINDOW = 200
WIDEST_WINDOW = 1000
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
_ATTEMPT_S = 60.0  # an attempt that came to nothing in this time is given up
_FAREWELL_S = 1.0
_CATCHING_UP = 400
_CATCHING_UP_SAID_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RigFacts:
    """What presence says of a rig and does not change in a boot.

    Attributes
    ----------
    speed : float
        Rig seconds in a wall second; 1 on metal, 0 as fast as simulation can.
    simulated : bool
        True where the silicon is simulated.
    version : str
        Version of this program.
    """

    speed: float
    simulated: bool
    version: str


class Link:
    """Keeps a connection to the broker and sends over it; it never stops sampling.

    Parameters
    ----------
    synchronised : Callable[[], bool]
        Tells whether the rig's UTC may be believed now.
    desk : DeskWatch
        Hears of each live word of the desk that this rig follows.
    pause_s : float
        Wall time between the end of a connection and the next attempt; doubled after each failure. [s]
    """

    def __init__(
        self,
        *,
        address: BrokerAddress,
        file: OutboxFile,
        outbox: Outbox,
        orders: OrderDesk,
        troubles: TroubleBoard,
        bell: Bell,
        facts: RigFacts,
        synchronised: Callable[[], bool],
        desk: DeskWatch | None = None,
        pause_s: float = FIRST_PAUSE_S,
    ) -> None:
        self._address = address
        self._file = file
        self._outbox = outbox
        self._orders = orders
        self._troubles = troubles
        self._bell = bell
        self._facts = facts
        self._synchronised = synchronised
        self._desk = desk or DeskWatch()
        self._pause_s = pause_s
        self._connects = 0
        self._window_size = FIRST_WINDOW
        self._window = SendWindow()
        self._other_store_at_s: float | None = None
        self._desk_heard_at_s = float("-inf")
        self._desk_is_back = False
        self._hold_until_s = 0.0
        self._said_troubles: tuple[str, ...] = ()
        self._presence_due_s = 0.0
        self._catching_up_said_s = float("-inf")
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)

    def start(self) -> None:
        """Begin to connect and to send, on threads of its own."""
        self._thread.start()

    def close(self) -> None:
        """Say that the rig is gone, and end."""
        self._stopping.set()
        self._bell.ring()
        self._thread.join()

    def _run(self) -> None:
        pause_s = self._pause_s
        while not self._stopping.is_set():
            if self._live_once():
                pause_s = self._pause_s
            else:
                if pause_s == self._pause_s:
                    log.warning(
                        "no broker at %s: start it, or check --broker. Readings are kept meanwhile.",
                        self._address,
                    )
                pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
            self._bell.wait_for(self._stopping.is_set, pause_s)

    def _live_once(self) -> bool:
        """Make one connection and serve it to its end; False where it never came up."""
        self._connects += 1
        self._desk_heard_at_s = float("-inf")
        connection = self._new_connection()
        connection.start()
        try:
            self._bell.wait_for(
                lambda: self._stopping.is_set() or connection.state is not ConnectionState.TRYING, _ATTEMPT_S
            )
            was_up = connection.state is ConnectionState.UP
            self._serve(connection)
            return was_up
        except Exception:
            log.exception("the link stumbled; it connects anew")
            return True
        finally:
            connection.close()

    def _new_connection(self) -> BrokerConnection:
        station = self._file.station
        return BrokerConnection(
            address=self._address,
            client_id=f"{station}-{self._file.rig}",
            will_topic=topic(station, "presence"),
            will=self._presence("gone"),
            subscriptions=(topic(station, "stored"), topic(station, "orders")),
            on_message=self._message_came,
            on_change=self._bell.ring,
        )

    def _serve(self, connection: BrokerConnection) -> None:
        """Send over one connection until it is over or the rig stops."""
        self._bell.wait_for(lambda: self._stopping.is_set() or connection.state is not ConnectionState.TRYING)
        wall_s = time.monotonic()
        self._window.restart(wall_s=wall_s)
        self._presence_due_s = 0.0
        self._hold_until_s = wall_s + _DESK_ANSWERS_WITHIN_S
        while connection.state is ConnectionState.UP and not self._stopping.is_set():
            self._send_what_is_due(connection)
            self._bell.wait_for(lambda: self._has_work(connection), self._next_timer_s())
        if connection.state is ConnectionState.UP:
            self._send_answers(connection)
            connection.farewell(
                topic(self._file.station, "presence"), self._presence("gone"), patience_s=_FAREWELL_S
            )

    def _has_work(self, connection: BrokerConnection) -> bool:
        return (
            self._stopping.is_set()
            or connection.state is not ConnectionState.UP
            or self._desk_is_back
            or self._orders.has_answers()
            or self._troubles.words() != self._said_troubles
            or bool(self._due())
        )

    def _next_timer_s(self) -> float:
        wall_s = time.monotonic()
        timers_s = [self._presence_due_s - wall_s, self._window.patience_left_s(wall_s=wall_s)]
        if self._hold_until_s > wall_s:
            timers_s.append(self._hold_until_s - wall_s)
        return max(0.0, min(timers_s))

    def _due(self) -> list[Batch]:
        if time.monotonic() < self._hold_until_s:
            return []
        return self._window.due(self._outbox.boots(), window=self._window_size)

    def _send_what_is_due(self, connection: BrokerConnection) -> None:
        wall_s = time.monotonic()
        self._forget_other_store(wall_s)
        if wall_s >= self._presence_due_s or self._troubles.words() != self._said_troubles:
            self._send_presence(connection, wall_s)
        self._send_answers(connection)
        if self._desk_is_back:
            self._desk_is_back = False
            self._presence_due_s = wall_s  # a restored desk is to speak of every boot again
            self._hold_until_s = 0.0
            self._window.restart(wall_s=wall_s)
        if self._window.lose_patience(self._outbox.boots(), wall_s=wall_s):
            log.info("sending again from what the desk has stored")
        for batch in self._due():
            self._send_batch(connection, batch)
            self._window.sent(batch, wall_s=wall_s)
        self._say_catching_up(wall_s)

    def _send_presence(self, connection: BrokerConnection, wall_s: float) -> None:
        self._presence_due_s = wall_s + PRESENCE_HEARTBEAT_S
        self._said_troubles = self._troubles.words()
        connection.publish(topic(self._file.station, "presence"), self._presence("up"), retain=True)

    def _send_answers(self, connection: BrokerConnection) -> None:
        for answer in self._orders.take_answers():
            connection.publish(topic(self._file.station, "answers"), encode_answer(answer))

    def _send_batch(self, connection: BrokerConnection, batch: Batch) -> None:
        readings_topic = topic(self._file.station, "readings")
        for _, payload in self._outbox.messages(batch.boot, batch.first, batch.last):
            connection.publish(readings_topic, payload)

    def _say_catching_up(self, wall_s: float) -> None:
        waiting = self._outbox.waiting()
        if waiting >= _CATCHING_UP and wall_s - self._catching_up_said_s >= _CATCHING_UP_SAID_S:
            self._catching_up_said_s = wall_s
            log.info("catching up, %s to go", f"{waiting:,}")

    def _presence(self, state: str) -> bytes:
        holds, obeys = self._outbox.holds(), self._outbox.obeys
        if obeys is not None:
            states = self._outbox.boots()
            obeys = replace(obeys, boots={boot: states[boot].watermark for boot in holds if boot in states})
        return encode_presence(
            Presence(
                state=state,
                rig=self._file.rig,
                boot=self._file.boot,
                connect=self._connects,
                holds=holds,
                obeys=obeys,
                speed=self._facts.speed,
                simulated=self._facts.simulated,
                synchronised=self._synchronised(),
                version=self._facts.version,
                trouble=self._troubles.words(),
            )
        )

    def _message_came(self, message: Message) -> None:
        if message.topic == topic(self._file.station, "orders"):
            self._orders.receive(message.payload, retained=message.retained)
            return
        if message.topic != topic(self._file.station, "stored"):
            return  # some brokers hand a newcomer what others have retained
        try:
            stored = decode_stored(message.payload)
        except MessageError as error:
            log.warning("what came as a desk's `stored` is none (%s); it is left", error)
            return
        self._hear(stored, live=not message.retained)

    def _hear(self, stored: Stored, *, live: bool) -> None:
        before = self._outbox.boots()
        heard = self._outbox.hear(stored, live=live)
        if heard is Heard.OBEYED:
            self._window_size = min(stored.window, WIDEST_WINDOW)
            now = self._outbox.boots()
            restored = any(now[boot].watermark < state.watermark for boot, state in before.items())
            if live:
                self._desk.hear()
                self._note_desk(time.monotonic(), restored=restored)
        elif heard is Heard.OTHER_STORE:
            self._other_store_at_s = time.monotonic()
            self._troubles.put(
                OTHER_STORE,
                f"a desk with store {stored.store:.40} speaks to {self._file.station}, which follows "
                "another. Give one of the two stations another name, or join this rig to that desk.",
            )
        if self._outbox.surplus_heard:
            self._troubles.put(
                DESK_KNOWS_MORE,
                "the desk holds readings that this outbox never gave. Was the card copied, or an old outbox "
                "put back? Start with a fresh --data folder.",
            )

    def _note_desk(self, wall_s: float, *, restored: bool) -> None:
        """Send at once again what a desk that was away or restored has not, without losing patience first."""
        away_s, self._desk_heard_at_s = wall_s - self._desk_heard_at_s, wall_s
        if restored or away_s > DESK_AWAY_S:
            self._desk_is_back = True
            self._bell.ring()

    def _forget_other_store(self, wall_s: float) -> None:
        heard_at_s = self._other_store_at_s
        if heard_at_s is not None and wall_s - heard_at_s > OTHER_STORE_MEMORY_S:
            self._other_store_at_s = None
            self._troubles.clear(OTHER_STORE)
