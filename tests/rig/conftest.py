"""A plain bench, and a desk that stores at once, for tests of the rig's own work."""

import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from calibration.contract.orders import Answer, Order, decode_answer, encode_order
from calibration.contract.presence import Presence, Stored, decode_presence, encode_stored
from calibration.contract.readings import ChannelReading, Insertion, Quality, ReadingPack
from calibration.contract.senml import decode_readings
from calibration.contract.topics import topic
from rig.bell import Bell
from rig.bench import BenchSample, SimulatedBench, simulated_bench
from rig.clock import Clock, SimulatedClock
from rig.connection import BrokerAddress
from rig.errors import OrderRefused
from rig.link import Link, RigFacts
from rig.order_desk import OrderDesk
from rig.order_log import OrderLog
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.sampler import Sampler
from rig.trouble import TroubleBoard
from rig.wiring import load_wiring

DEADLINE_S = 30.0


class PlainBench:
    """A bench with one steady channel and settings that hold; it knows how often it was put safe."""

    def __init__(self, clock: Clock, *, simulated: bool = True) -> None:
        self.clock = clock
        self.simulated = simulated
        self.decade_ohm = 0.0
        self.insertion = Insertion.NONE
        self.range_ohm = 2700.0
        self.hands_seen: list[Mapping[str, Any]] = []
        self.times_safe = 0
        self.times_saved = 0
        self.failure: Exception | None = None
        self.value_c = 20.0
        self.on_sample: Callable[[], None] = lambda: None
        self.trouble: tuple[str, ...] = ()
        self.shows_trouble = False
        self.deeds: list[tuple[str, Any]] = []
        self.emissivity = 0.95

    def sample(self) -> BenchSample:
        self.on_sample()
        if self.failure is not None:
            raise self.failure
        return BenchSample(
            channels={
                "witness": ChannelReading(quality=Quality.GOOD, raw=320.0, value=self.value_c),
                "infrared": ChannelReading(quality=Quality.CHECKSUM, reason="the checksum does not hold"),
            },
            taps={},
            decade_ohm=self.decade_ohm,
            insertion=self.insertion,
            range_ohm=self.range_ohm,
        )

    def set_decade(self, resistance_ohm: float) -> None:
        if not 0 <= resistance_ohm <= 9999:
            raise OrderRefused(f"Cannot set {resistance_ohm:g} Ω: this box makes 0 to 9999 Ω.")
        self.decade_ohm = resistance_ohm

    def set_insertion(self, insertion: Insertion) -> None:
        self.insertion = insertion

    def set_range(self, range_ohm: float | None) -> None:
        self.range_ohm = 750.0 if range_ohm is None else range_ohm

    def set_probe_range(self, range_ohm: float | None) -> None:
        self.deeds.append(("set_probe_range", range_ohm))

    def burst(self, duration_s: float) -> tuple[Any, ...]:
        self.deeds.append(("burst", duration_s))
        return ()

    def identify(self, duration_s: float) -> None:
        self.deeds.append(("identify", duration_s))

    def set_duty(self, duty: float) -> None:
        self.deeds.append(("set_duty", duty))

    def read_emissivity(self) -> float:
        return self.emissivity

    def write_emissivity(self, emissivity: float, *, confirmed: bool = False) -> None:
        assert confirmed
        self.emissivity = emissivity

    def hands(self, fields: Mapping[str, Any]) -> None:
        self.hands_seen.append(dict(fields))

    def safe(self) -> None:
        self.times_safe += 1

    def save(self) -> None:
        self.times_saved += 1

    def close(self) -> None:
        self.safe()


@dataclass
class Works:
    """The parts of a rig around a plain bench, with no thread running yet."""

    bench: PlainBench
    file: OutboxFile
    bell: Bell
    troubles: TroubleBoard
    outbox: Outbox
    orders: OrderDesk
    sampler: Sampler
    threads: list[threading.Thread] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)

    def start_sampling(self) -> None:
        thread = threading.Thread(target=self.sampler.run, name="sampler")
        thread.start()
        self.threads.append(thread)

    def stop(self) -> None:
        self.sampler.stop()
        for thread in self.threads:
            thread.join(DEADLINE_S)
            assert not thread.is_alive()
        for link in self.links:
            link.close()
        self.file.close()

    def packs(self) -> list[ReadingPack]:
        """Everything held of this boot, decoded."""
        last = self.outbox.boots()[self.file.boot].last
        found = [
            decode_readings(payload, station=self.file.station)
            for _, payload in self.outbox.messages(self.file.boot, 1, last)
        ]
        assert all(isinstance(pack, ReadingPack) for pack in found)
        return found

    def start_link(self, port: int) -> Link:
        link = Link(
            address=BrokerAddress(host="127.0.0.1", port=port),
            file=self.file,
            outbox=self.outbox,
            orders=self.orders,
            troubles=self.troubles,
            bell=self.bell,
            facts=RigFacts(speed=0.0, simulated=self.bench.simulated, version="0.0"),
            synchronised=lambda: self.bench.clock.utc_s() is not None,
            pause_s=0.05,
        )
        self.links.append(link)
        link.start()
        return link


def _works(folder: Path, *, simulated: bool = True, clock: Clock | None = None) -> Works:
    bench = PlainBench(clock or SimulatedClock(start_utc_s=1.8e9), simulated=simulated)
    file = OutboxFile(folder / "outbox.sqlite")
    bell = Bell()
    troubles = TroubleBoard(bell)
    outbox = Outbox(file, bell)
    orders = OrderDesk(
        orders_log=OrderLog(file),
        boot=file.boot,
        store=lambda: outbox.obeys and outbox.obeys.store,
        clock=bench.clock,
        bell=bell,
    )
    sampler = Sampler(bench=bench, file=file, outbox=outbox, orders=orders, troubles=troubles, bell=bell)
    return Works(bench, file, bell, troubles, outbox, orders, sampler)


@pytest.fixture
def make_works(tmp_path: Path) -> Iterator[Callable[..., Works]]:
    """Make a rig's parts in the test's folder; all are stopped afterwards."""
    made: list[Works] = []

    def make(**options: Any) -> Works:
        made.append(_works(tmp_path, **options))
        return made[-1]

    yield make
    for works in made:
        works.stop()


@pytest.fixture
def works(make_works: Callable[..., Works]) -> Works:
    return make_works()


class PromptDesk:
    """A desk that keeps every pack in memory and says at once that it is stored."""

    def __init__(self, port: int, *, station: str = "station-1", store: str = "store-a") -> None:
        self.station = station
        self.store = store
        self.epoch = 0
        self.n = 0
        self.silent = False
        self.packs: dict[tuple[str, int], bytes] = {}
        self.copies = 0
        self.conflicts = 0
        self.marks: dict[str, int] = {}
        self.presences: list[Presence] = []
        self.answers: list[Answer] = []
        self._changed = threading.Condition()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"desk-{store}")
        self._client.reconnect_delay_set(1, 1)
        self._client.on_socket_open = lambda _c, _d, sock: sock.setsockopt(
            socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
        )
        self._client.on_connect = self._connected
        self._client.on_message = self._message_came
        self._subscribed = False
        self._client.on_subscribe = self._on_subscribe
        self._client.connect_async("127.0.0.1", port)
        self._client.loop_start()
        self.wait_for(lambda: self._subscribed, "the desk is connected")

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def wait_for(self, predicate: Callable[[], bool], what: str) -> None:
        with self._changed:
            assert self._changed.wait_for(predicate, DEADLINE_S), f"not within {DEADLINE_S:g} s: {what}"

    def order(self, order: Order, *, retain: bool = False) -> None:
        self._client.publish(topic(self.station, "orders"), encode_order(order), qos=1, retain=retain)

    def say_stored(self) -> None:
        self.n += 1
        stored = Stored(store=self.store, epoch=self.epoch, n=self.n, boots=dict(self.marks))
        self._client.publish(topic(self.station, "stored"), encode_stored(stored), qos=1, retain=True)

    def say_raw(self, kind: str, payload: bytes) -> None:
        self._client.publish(topic(self.station, kind), payload, qos=1)

    def _connected(self, client: mqtt.Client, *_: Any) -> None:
        client.subscribe([(topic(self.station, kind), 1) for kind in ("readings", "presence", "answers")])

    def _on_subscribe(self, *_: Any) -> None:
        with self._changed:
            self._subscribed = True
            self._changed.notify_all()

    def _message_came(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        kind = message.topic.rsplit("/", 1)[1]
        with self._changed:
            if kind == "readings":
                self._keep(message.payload)
            elif kind == "presence":
                self.presences.append(decode_presence(message.payload))
            else:
                self.answers.append(decode_answer(message.payload))
            self._changed.notify_all()
        if kind != "answers" and not self.silent:
            self.say_stored()

    def _keep(self, payload: bytes) -> None:
        pack = decode_readings(payload, station=self.station)
        assert isinstance(pack, ReadingPack)
        before = self.packs.setdefault((pack.boot, pack.seq), payload)
        if before is not payload:
            self.copies += 1
            self.conflicts += before != payload
        mark = self.marks.get(pack.boot, 0)
        while (pack.boot, mark + 1) in self.packs:
            mark += 1
        self.marks[pack.boot] = mark


@pytest.fixture
def make_desk() -> Iterator[Callable[..., PromptDesk]]:
    made: list[PromptDesk] = []

    def make(port: int, **options: Any) -> PromptDesk:
        made.append(PromptDesk(port, **options))
        return made[-1]

    yield make
    for desk in made:
        desk.close()


@pytest.fixture
def make_bench(tmp_path: Path) -> Iterator[Callable[..., SimulatedBench]]:
    """Simulated benches in the test's folder; all are closed afterwards."""
    made: list[SimulatedBench] = []

    def make(*, seed: int = 11, plant: tuple[str, float] | None = None) -> SimulatedBench:
        bench = simulated_bench(
            wiring=load_wiring(),
            seed=seed,
            plant=plant,
            world_file=tmp_path / f"{len(made)}" / "world.json",
            clock=SimulatedClock(start_utc_s=1_800_000_000.0),
        )
        made.append(bench)
        return bench

    yield make
    for bench in made:
        bench.close()
