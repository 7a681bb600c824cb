import json
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import event

from calibration.contract.orders import Action, Answer, AnswerState, decode_order, encode_answer
from calibration.contract.presence import Presence, Stored, decode_stored, encode_presence
from calibration.contract.readings import GapPack, ReadingPack
from calibration.contract.senml import encode_gap, encode_readings
from calibration.contract.topics import topic
from host.broker import EmbeddedBroker, free_port
from host.data_folder import DataFolder
from host.ingest import Ingest
from host.live import Live, StationState
from host.order_book import OrderBook
from host.store import Store, open_store

BOOT = "00000001-0a0b0c0d"

MakePack = Callable[..., ReadingPack]
Until = Callable[..., None]


class Embedded:
    """The embedded broker, killed and started as the mosquitto of the fixtures is."""

    def __init__(self) -> None:
        self._broker = EmbeddedBroker(free_port())
        self._broker.start()
        self.port = self._broker.port

    def kill(self) -> None:
        assert self._broker.pid is not None
        os.kill(self._broker.pid, signal.SIGKILL)

    def start(self) -> None:
        """Nothing to do: it is started again by itself."""

    def stop(self) -> None:
        self._broker.stop()


@pytest.fixture(
    params=[
        pytest.param("mosquitto", marks=pytest.mark.broker),
        pytest.param("embedded", marks=pytest.mark.slow),
    ]
)
def broker(request: pytest.FixtureRequest) -> Iterator[Any]:
    if request.param == "mosquitto":
        yield request.getfixturevalue("mosquitto")
        return
    embedded = Embedded()
    yield embedded
    embedded.stop()


class Rig:
    """Sends as a rig does: at most ``ahead`` beyond the watermark, from there again after a reconnect."""

    def __init__(
        self, port: int, payloads: dict[int, bytes], *, ahead: int = 200, client_id: str = "bench-1-rig-a"
    ) -> None:
        self.payloads = payloads
        self.ahead = ahead
        self.w = 0
        self.sent = 0
        self.stored: list[tuple[Stored, bool]] = []
        self.orders: list[bytes] = []
        self.progress_s = time.monotonic()
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id)
        self.client.max_inflight_messages_set(0)
        self.client.reconnect_delay_set(1, 1)
        self.client.will_set(topic("bench-1", "presence"), self.presence("gone"), qos=1, retain=True)
        self.client.on_socket_open = lambda _c, _d, connection: connection.setsockopt(
            socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
        )
        self.client.on_connect = self._on_connect
        self.client.on_subscribe = self._on_subscribe
        self.client.on_message = self._on_message
        self.client.connect_async("127.0.0.1", port)
        self.client.loop_start()
        self._patience = threading.Thread(target=self._lose_patience)
        self._patience.start()

    def presence(self, state: str = "up") -> bytes:
        last = max(self.payloads, default=0)
        return encode_presence(
            Presence(
                state=state, rig="rig-a", boot=BOOT, connect=1, holds={BOOT: (1, last)}, speed=1.0,
                simulated=True, synchronised=False, version="0",
            )
        )  # fmt: skip

    def say(self, kind: str, payload: bytes, *, station: str = "bench-1", retain: bool = False) -> None:
        self.client.publish(topic(station, kind), payload, qos=1, retain=retain)

    def send_on(self) -> None:
        with self._lock:
            while self.sent < self.w + self.ahead and self.sent + 1 in self.payloads:
                self.sent += 1
                self.say("readings", self.payloads[self.sent])

    def send_again(self) -> None:
        with self._lock:
            self.sent = self.w
            self.progress_s = time.monotonic()
        self.send_on()

    def cut(self) -> None:
        """Break the connection without a farewell, for good."""
        self.client.on_disconnect = lambda *_: None
        self.client._reconnect_on_failure = False
        connection = self.client.socket()
        assert connection is not None
        connection.shutdown(2)  # type: ignore[call-arg]
        self.client.loop_stop()

    def close(self) -> None:
        self._closed.set()
        self._patience.join()
        self.client.disconnect()
        self.client.loop_stop()

    def _lose_patience(self) -> None:
        # A rig waits 5 s before it sends again; here 1 s, so that nobody waits for the test.
        while not self._closed.wait(0.25):
            if self.sent > self.w and time.monotonic() - self.progress_s > 1.0:
                self.send_again()

    def _on_connect(self, client: mqtt.Client, *_: Any) -> None:
        client.subscribe([(topic("bench-1", "stored"), 1), (topic("bench-1", "orders"), 1)])

    def _on_subscribe(self, *_: Any) -> None:
        self.say("presence", self.presence(), retain=True)
        self.send_again()

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        if message.topic.endswith("/orders"):
            self.orders.append(message.payload)
            return
        if not message.topic.endswith("/stored"):
            return  # the embedded broker hands every newcomer what is retained on anybody's topics
        stored = decode_stored(message.payload)
        with self._lock:
            self.stored.append((stored, message.retain))
            if stored.boots.get(BOOT, 0) > self.w:
                self.w = stored.boots[BOOT]
                self.progress_s = time.monotonic()
        self.send_on()


class Desk:
    """Store, live rings, ingest and order book, as `serve` puts them together."""

    def __init__(self, folder: Path, port: int) -> None:
        self.store = open_store(DataFolder(folder))
        self.live = Live.from_store(self.store)
        self.ingest = Ingest(self.store, self.live, port=port)
        self.orders = OrderBook(self.store, self.ingest.publish)
        self.ingest.give_answers_to(self.orders.take)
        self.ingest.start()
        self.orders.start()

    def stop(self) -> None:
        self.orders.stop()
        self.ingest.stop()
        self.store.close()

    def seqs(self) -> list[int]:
        return [pack.seq for pack in self.store.readings("bench-1", BOOT, 1, 10**6)]


@pytest.fixture
def desk(store: Store, tmp_path: Path, broker: Any) -> Iterator[Desk]:
    desk = Desk(tmp_path / "desk", broker.port)
    assert desk.ingest.wire.wait_until_up(20)
    yield desk
    desk.stop()


@pytest.fixture
def rigs(broker: Any) -> Iterator[Callable[..., Rig]]:
    started: list[Rig] = []

    def start(payloads: dict[int, bytes], **options: Any) -> Rig:
        started.append(Rig(broker.port, payloads, **options))
        return started[-1]

    yield start
    for rig in started:
        rig.close()


def backlog(make_pack: MakePack, length: int) -> dict[int, bytes]:
    return {seq: encode_readings(make_pack(seq=seq)) for seq in range(1, length + 1)}


def test_every_reading_is_stored_once_and_said_to_be(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 1000))
    until(lambda: rig.w == 1000, "the rig hears that all is stored")
    assert desk.seqs() == list(range(1, 1001))
    assert [pack.seq for pack in desk.live.since("bench-1")[0]] == list(range(1, 1001))
    assert desk.live.stations()[0].words == "live"
    counts = [stored.n for stored, retained in rig.stored if not retained]
    assert counts == sorted(set(counts))
    assert {stored.store for stored, _ in rig.stored} == {desk.store.identity.store}


def test_a_rig_that_stands_still_at_twenty_gets_on(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 1000), ahead=20)
    until(lambda: rig.w == 1000, "the rig hears that all is stored")
    assert desk.seqs() == list(range(1, 1001))


@pytest.mark.slow
def test_a_broker_killed_in_the_middle_costs_nothing(
    desk: Desk, broker: Any, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 2000), ahead=20)
    until(lambda: rig.w >= 200, "the rig is well under way")
    broker.kill()
    until(lambda: not desk.ingest.wire.is_up, "the desk sees that the broker is gone")
    assert rig.w < 2000
    broker.start()
    until(lambda: rig.w == 2000, "the rig hears that all is stored")
    assert desk.seqs() == list(range(1, 2001))
    assert desk.store.aside.all() == []


@pytest.mark.slow
def test_a_desk_that_was_away_goes_on_where_it_was(
    desk: Desk, broker: Any, tmp_path: Path, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 600), ahead=20)
    until(lambda: rig.w == 600, "the first part is stored")
    desk.ingest.stop()
    rig.payloads |= backlog(make_pack, 1200)
    rig.send_on()  # goes nowhere: no desk is there
    back = Desk(tmp_path / "desk", broker.port)
    assert back.ingest.wire.wait_until_up(20)
    assert back.live.latest("bench-1") == make_pack(seq=600)
    until(lambda: rig.w == 1200, "the rest is stored")
    assert back.seqs() == list(range(1, 1201))
    back.stop()


def test_a_declared_gap_lets_the_watermark_pass(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    payloads = backlog(make_pack, 10)
    gap = encode_gap(GapPack(station="bench-1", rig="rig-a", boot=BOOT, first=4, last=7, reason="thinned"))
    rig = rigs({**payloads, 4: gap, 5: gap, 6: gap, 7: gap})
    until(lambda: rig.w == 10, "the watermark passes the gap")
    assert desk.seqs() == [1, 2, 3, 8, 9, 10]


def test_presence_is_answered_at_once_and_stored_is_retained(
    desk: Desk, broker: Any, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs({})
    until(lambda: any(not retained for _, retained in rig.stored), "the desk answers")
    late = Rig(broker.port, {}, client_id="looks-on")
    until(lambda: any(retained for _, retained in late.stored), "the retained copy arrives")
    late.close()


def test_bad_messages_are_kept_aside_with_their_reason_and_stop_nothing(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    wrong_types = json.loads(encode_readings(make_pack(seq=2)))
    wrong_types[2]["v"] = "soon"
    absurd = json.loads(encode_readings(make_pack(seq=3)))
    absurd[4]["v"] = -4700.0
    payloads = backlog(make_pack, 5)
    payloads[2] = json.dumps(wrong_types).encode()
    payloads[3] = json.dumps(absurd).encode()
    rig = rigs(payloads)
    rig.say("readings", b"not JSON")
    rig.say("presence", b"[]")
    rig.say("answers", b"done")
    rig.say("readings", encode_readings(make_pack("bench-9")), station="bench-9")
    rig.say("presence", rig.presence(), station="bench-9")
    rig.client.publish("ohmbath/1/NO STATION/readings", b"x", qos=1)
    rig.client.publish("ohmbath/2/bench-1/readings", b"of a contract to come", qos=1)
    until(lambda: rig.w == 5, "the watermark passes the bad ones")
    until(lambda: len(desk.store.aside.all()) == 8, "all bad messages are kept aside")
    reasons = {
        (one.refusal.station, one.refusal.kind, one.refusal.seq): one.refusal.reason
        for one in desk.store.aside.all()
    }
    assert "rig_time" in reasons["bench-1", "readings", 2]
    assert "absurd" in reasons["bench-1", "readings", 3]
    assert "not JSON" in reasons["bench-1", "readings", None]
    assert "object" in reasons["bench-1", "presence", None]
    assert "not JSON" in reasons["bench-1", "answers", None]
    assert "ohmbath station add bench-9" in reasons["bench-9", "readings", None]
    assert "unknown station" in reasons["bench-9", "presence", None]
    assert "unknown station" in reasons["NO STATION", "readings", None]
    assert desk.seqs() == [1, 4, 5]


def test_a_station_added_beside_a_desk_at_work_is_taken_up(
    desk: Desk, broker: Any, tmp_path: Path, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs({})
    rig.say("readings", encode_readings(make_pack("bench-2")), station="bench-2")
    until(lambda: desk.store.aside.all(), "the unknown station is kept aside")
    beside = open_store(DataFolder(tmp_path / "desk"))
    beside.stations.add("bench-2")
    beside.close()
    rig.say("readings", encode_readings(make_pack("bench-2")), station="bench-2")
    until(lambda: desk.live.latest("bench-2"), "its readings are taken")
    assert desk.store.watermark("bench-2", BOOT) == 1


def test_another_rig_under_a_stations_name_is_said_and_not_taken(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 1))
    until(lambda: rig.w == 1, "the station is tied to its rig")
    other = json.loads(rig.presence())
    rig.say("presence", json.dumps({**other, "rig": "rig-b", "connect": 99}).encode())
    until(lambda: desk.live.stations()[0].trouble, "the other rig is said")
    assert "rig-b" in desk.live.stations()[0].trouble[0]
    presence = desk.live.presence("bench-1")
    assert presence is not None
    assert presence.rig == "rig-a"


def test_a_rig_that_is_cut_off_is_gone(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 1))
    until(lambda: desk.live.stations()[0].state is StationState.LIVE, "the station is live")
    rig.cut()
    until(lambda: desk.live.stations()[0].state is StationState.GONE, "the station is gone")


def test_an_order_reaches_the_rig_and_its_answer_comes_back(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    rig = rigs(backlog(make_pack, 1))
    until(lambda: rig.w == 1, "the rig is there")
    order_id = desk.orders.send("bench-1", BOOT, Action.SET_DECADE, {"resistance_ohm": 4700.0}, None, 60.0)
    until(lambda: rig.orders, "the order arrives")
    assert decode_order(rig.orders[0]).order == order_id
    rig.say("answers", encode_answer(Answer(order=order_id, state=AnswerState.DONE, seq=2)))
    answer = desk.orders.wait(order_id, 20.0)
    assert answer is not None
    assert (answer.state, answer.seq) == (AnswerState.DONE, 2)


@pytest.mark.slow
@pytest.mark.parametrize("store_folder", ["file"], indirect=True)
def test_a_full_disk_is_said_and_readings_wait_until_there_is_room(
    desk: Desk, rigs: Callable[..., Rig], make_pack: MakePack, until: Until
) -> None:
    full = [True]

    def limit_pages(connection: Any, *_: Any) -> None:
        # SQLite's own way of running out of room: no page may be added to the file.
        connection.execute(f"PRAGMA max_page_count={1 if full[0] else 1_000_000}")

    event.listen(desk.store._database.engine, "checkout", limit_pages)
    rig = rigs(backlog(make_pack, 400))
    until(lambda: desk.live.trouble, "the full disk is said")
    assert "disk is full" in str(desk.live.trouble)
    assert rig.w < 400
    full[0] = False
    until(lambda: rig.w == 400, "all is stored once there is room")
    assert desk.live.trouble is None
    assert desk.seqs() == list(range(1, 401))


@pytest.mark.slow
def test_a_stopped_desk_has_stored_all_that_had_arrived(store: Store, make_pack: MakePack) -> None:
    live = Live.from_store(store)
    ingest = Ingest(store, live, port=free_port())  # nobody there: messages are handed in directly
    for payload in backlog(make_pack, 900).values():
        ingest._deliver("ohmbath/1/bench-1/readings", payload, False)
    ingest.start()
    ingest.stop()
    assert store.watermark("bench-1", BOOT) == 900
    assert len(live.since("bench-1")[0]) == 900
