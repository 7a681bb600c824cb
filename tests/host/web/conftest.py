"""A desk with real store, live rings, orders and runs, and a small bath whose readings are fed by hand."""

import json
import math
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from calibration.contract.orders import Answer, AnswerState, decode_order, encode_answer
from calibration.contract.presence import Presence
from calibration.contract.readings import BurstReading, ChannelReading, Insertion, Quality, ReadingPack
from calibration.contract.senml import encode_readings
from calibration.curves import load_curve
from calibration.resistance.three_tap import ratio_count
from calibration.thermistor.steinhart_hart import SteinhartHart
from host.classroom.exercise_log import plant_of_runs
from host.classroom.exercises import Exercises
from host.data_folder import DataFolder
from host.live import Live
from host.order_book import OrderBook
from host.people.session import new_token
from host.procedures.runs_at_work import RunsAtWork
from host.simulated_hands import SimulatedHands
from host.store import Store, open_store
from host.store.packs import Arrival
from host.web.app import create_app
from host.web.form_key import FIELD, key_of
from host.web.visit import COOKIE

BOOT = "00000001-0000abcd"
CURVE = "ntc-310-80c"
NOMINAL = load_curve(CURVE).nominal  # once: it is asked for at every pass
PROBE = SteinhartHart(a=1.129241e-3, b=2.341077e-4, c=8.775468e-8)
PROBE_PAPER = """
kind = "probe"
serial = "P-1"
certificate = "C-1"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
simulated = true
model = "steinhart_hart"
a = 1.129241e-3
b = 2.341077e-4
c = 8.775468e-8
expanded_u_k = 0.05
k = 2.0
valid_from_c = 0.0
valid_to_c = 100.0
"""
BOX_PAPER = """
kind = "decade_box"
serial = "D-1"
certificate = "C-2"
issuer = "nobody at all"
issued = 2020-01-01
due = 2099-01-01
simulated = true
residual_ohm = 0.4
expanded_u_relative = 1e-4
expanded_u_ohm = 0.03
k = 2.0
""" + "".join(
    f"[[step]]\nnominal_ohm = {weight * decade}\ncertified_ohm = {float(weight * decade)}\n"
    for decade in (1, 10, 100, 1000)
    for weight in (1, 2, 4, 8)
)


@dataclass
class SmallBench:
    """A rig with its bath, reading four times a second of its own time, when it is told to.

    It obeys the desk's orders as the real one does, and its numbers follow from one bath temperature.
    """

    store: Store
    live: Live
    station: str = "bench-1"
    simulated: bool = True
    series_ohm: float = 0.0
    bath_c: float = 22.0
    heater_c: float | None = None
    book: OrderBook | None = None
    quality: dict[str, tuple[Quality, str]] = field(default_factory=dict)
    seq: int = 0
    boot: str = BOOT
    has_loose_contact: bool = False
    utc_s: float | None = None
    clock_step_s: float | None = None
    sender_lag_s: float = 0.0
    heats_by_k: float = 0.04
    sender_duty: float | None = 0.25
    infrared_emissivity: float | None = 0.95
    body_c: float = 22.31
    body_drift_k_per_min: float = 0.0
    stem_share: float = 0.0
    gradient_k: float = 0.0
    drawn_out_mm: float = 0.0
    pressed_before_s: tuple[float, ...] = ()
    reads_high_by: float = 0.0
    has_changed_places: bool = False
    feels_the_box: bool = True
    feels_the_relays: bool = False
    refuses: Callable[[str, dict[str, Any]], str] | None = None
    _sender_c: float | None = None
    _burst_due: bool = False
    _has_switched: bool = False
    _time_s: float = 0.0
    _insertion: Insertion = Insertion.NONE
    _decade_ohm: float = 0.0
    _range_ohm: float = 2700.0

    def obey(self, topic: str, payload: bytes) -> None:
        """Take an order from the desk and answer it."""
        order = decode_order(payload)
        if topic.split("/")[2] != self.station:
            return
        wanted = dict(order.fields)
        assert self.book is not None
        reason = self.refuses(order.do, wanted) if self.refuses is not None else ""
        if reason:
            no = Answer(order=order.order, state=AnswerState.REFUSED, reason=reason)
            self.book.take(self.station, encode_answer(no))
            return
        match order.do:
            case "set_insertion":
                self._has_switched |= self._insertion.value != wanted["insertion"]
                self._insertion = Insertion(wanted["insertion"])
            case "set_decade":
                self._decade_ohm = float(wanted["resistance_ohm"])
            case "set_range":
                self._range_ohm = float(wanted["range_ohm"] or 2700.0)
            case "set_duty":
                self.sender_duty = float(wanted["duty"])
            case "burst":
                self._burst_due = True
            case "hands":
                self._by_hand(wanted)
        answer = Answer(order=order.order, state=AnswerState.DONE, seq=self.seq + 1)
        self.book.take(self.station, encode_answer(answer))

    def _by_hand(self, wanted: dict[str, Any]) -> None:
        if wanted["do"] == "heater":
            self.heater_c = None if wanted.get("off") else float(wanted["temperature_c"])
        elif wanted["do"] == "fresh_water":
            self.bath_c = float(wanted["temperature_c"])
        elif wanted["do"] == "draw_out":
            self.drawn_out_mm = float(wanted["by_mm"])
        elif wanted["do"] == "places":
            self.has_changed_places = bool(wanted["changed"])

    def read(self, passes: int = 1) -> None:
        """Read so many times, and have it committed and shown."""
        packs = [self._pack() for _ in range(passes)]
        self.store.packs.take(
            [
                Arrival(station=self.station, payload=encode_readings(pack), received_utc_s=0.0)
                for pack in packs
            ]
        )
        self.live.hear(self.station)
        self.live.add(packs)

    def say(self, **changed: Any) -> None:
        """Publish a presence."""
        facts: dict[str, Any] = {
            "state": "up", "rig": "r1", "boot": self.boot, "connect": 1, "holds": {}, "speed": 1.0,
            "simulated": self.simulated, "synchronised": True, "version": "0",
        }  # fmt: skip
        self.live.take_presence(self.station, Presence(**(facts | changed)))
        self.live.hear(self.station)

    def _pack(self) -> ReadingPack:
        self.seq += 1
        self._time_s += 0.25
        self.body_c += self.body_drift_k_per_min * 0.25 / 60.0
        if self.heater_c is not None:
            self.bath_c += max(-self.heats_by_k, min(self.heats_by_k, self.heater_c - self.bath_c))
        if self._insertion not in (Insertion.SENDER, Insertion.PROBE):
            self._range_ohm = 2700.0 if self.bath_c < 45.0 else 750.0
        wobble_k = 0.01 * math.sin(self._time_s * 1.7)
        probe_ohm = PROBE.resistance_ohm(self.bath_c + wobble_k)
        place = -1.0 if self.has_changed_places else 1.0
        stem_k = self.stem_share * math.exp(self.drawn_out_mm / 14.0) * (self.bath_c - 22.31)
        sender_c = self._sender_body_c() + wobble_k - stem_k + place * self.gradient_k
        sender_ohm = NOMINAL.resistance_ohm(sender_c) + self.series_ohm
        if self.feels_the_box and self._insertion is Insertion.SERIES:
            sender_ohm += self._decade_ohm
        if self.feels_the_box and self._insertion is Insertion.PARALLEL and self._decade_ohm:
            sender_ohm = sender_ohm * self._decade_ohm / (sender_ohm + self._decade_ohm)
        if self._insertion is Insertion.SENDER:
            sender_ohm = self._decade_ohm + 0.4
        if self._insertion is Insertion.PROBE:
            probe_ohm = self._decade_ohm + 0.4
        probe_ohm, sender_ohm = (ohm * (1.0 + self.reads_high_by) for ohm in (probe_ohm, sender_ohm))
        channels = {
            "sender": _ohms(sender_ohm, self._range_ohm),
            "probe": _ohms(probe_ohm, 2700.0),
            "witness": ChannelReading(quality=Quality.GOOD, value=round((self.bath_c - 0.1) * 16) / 16),
            "infrared": ChannelReading(quality=Quality.GOOD, value=round(self.bath_c - 0.7, 2)),
            "ambient": ChannelReading(quality=Quality.GOOD, value=round(self.body_c, 2)),
        }
        if self._has_switched and self.feels_the_relays:
            # The rig marks the pass after an insertion relay moved, and it does so on both channels.
            for name in ("sender", "probe"):
                channels[name] = ChannelReading(
                    quality=Quality.SWITCHING, raw=channels[name].raw, reason="relays have just moved"
                )
        self._has_switched = False
        for name, (quality, reason) in self.quality.items():
            channels[name] = ChannelReading(quality=quality, raw=channels[name].raw, reason=reason)
        return ReadingPack(
            station=self.station, rig=f"rig-{self.station}", boot=self.boot, seq=self.seq,
            rig_time_s=self._time_s, simulated=self.simulated, decade_ohm=self._decade_ohm,
            insertion=self._insertion, range_ohm=self._range_ohm, channels=channels,
            sender_duty=self.sender_duty, shots_before_s=self._presses(),
            infrared_emissivity=self.infrared_emissivity, burst=self._burst(sender_ohm), utc_s=self.utc_s,
            clock_step_s=self.clock_step_s,
        )  # fmt: skip

    def _presses(self) -> tuple[float, ...]:
        """Presses of the bench button since the pass before."""
        told, self.pressed_before_s = self.pressed_before_s, ()
        return told

    def _sender_body_c(self) -> float:
        """The bath, followed as a body of one time constant follows it."""
        if self._sender_c is None or self.sender_lag_s == 0.0:
            self._sender_c = self.bath_c
        else:
            self._sender_c += (self.bath_c - self._sender_c) * -math.expm1(-0.25 / self.sender_lag_s)
        return self._sender_c

    def _burst(self, sender_ohm: float) -> tuple[BurstReading, ...]:
        """A second of single conversions, where one was ordered; loose, every seventh of them is open."""
        if not self._burst_due:
            return ()
        self._burst_due = False
        singles = []
        for number in range(50):
            ohm = sender_ohm * (1.0 + 3e-4 * math.sin(7.3 * number))
            is_open = self.has_loose_contact and number % 7 == 3
            singles.append(
                BurstReading(
                    before_s=round(1.0 - 0.02 * number, 3),
                    raw=4096.0 if is_open else ratio_count(ohm, self._range_ohm),
                    value=None if is_open else ohm,
                )
            )
        return tuple(singles)


def _ohms(resistance_ohm: float, range_ohm: float) -> ChannelReading:
    return ChannelReading(
        quality=Quality.GOOD, raw=ratio_count(resistance_ohm, range_ohm), value=resistance_ohm
    )


@dataclass
class SmallDesk:
    """A desk as the pages see it, of real parts; only the broker between it and its bench is left out."""

    folder: Path
    simulated: bool = True
    now: Callable[[], float] = time.time

    def __post_init__(self) -> None:
        self.store = open_store(DataFolder(self.folder), now=self.now)
        self.store.settings.change({"shop_name": "Plover & Tansy Motor Works", "shop_address": "3 Kiln Yard"})
        self.live = Live.from_store(self.store)
        self.benches: dict[str, SmallBench] = {}
        self.book = OrderBook(self.store, self._publish)
        plant_of = plant_of_runs(self.store, lambda run: None)
        self.hands = SimulatedHands(live=self.live, book=self.book, plant_of=plant_of)
        self.runs = RunsAtWork(store=self.store, live=self.live, book=self.book)
        self.exercises = Exercises(store=self.store, live=self.live, book=self.book, runs=self.runs)
        self.hands.serve(self.runs)
        self.simulated_bench = None
        self.simulated_room = None
        for station in self.store.stations.all():
            self._join(station.station)

    def add_bench(
        self, station: str = "bench-1", *, simulated: bool = True, real_papers: bool = False
    ) -> SmallBench:
        """Add a station, its rig beside it, its papers in the register."""
        self.store.stations.add(station)
        self.live.add_station(station)
        for paper in (PROBE_PAPER, BOX_PAPER):
            self.store.register.add_text(
                paper.replace("simulated = true", "simulated = false") if real_papers else paper
            )
        return self._join(station, simulated=simulated)

    def let_hands_finish(self, run: int, *, bench: SmallBench) -> None:
        """Let the simulated hands do what the cards ask until the run is over."""

        def is_over() -> bool:
            view = self.runs.view(run)
            self.hands.watch((view,))
            return view.state.is_over

        self.lead_until(is_over, bench=bench)

    def lead_until_phase(self, run: int, phase: str, *, bench: SmallBench) -> None:
        """Let the hands do what the cards ask until the run stands there."""

        def is_there() -> bool:
            view = self.runs.view(run)
            if view.state.phase.value == phase:
                return True
            self.hands.watch((view,))
            return False

        self.lead_until(is_there, bench=bench)

    def lead_until(self, is_so: Callable[[], bool], *, bench: SmallBench, most_passes: int = 40_000) -> None:
        """Let the bench read and the runs be led until something is so."""
        for _ in range(most_passes // 20):
            self.lead()
            if is_so():
                return
            bench.read(20)
        raise AssertionError(f"It was never so in {most_passes} readings.")

    def lead(self) -> None:
        """One round of leading the runs, as their thread does it."""
        with self.runs._lock:
            for runner in list(self.runs._runners.values()):
                self.runs._work(runner)

    def let_wall_time_pass(self, seconds: float) -> None:
        """Let nothing be heard from any bench for so long; from then on this clock stands still."""
        then_s = self.live._wall_s() + seconds
        self.live._wall_s = lambda: then_s

    def close(self) -> None:
        self.store.close()

    def _join(self, station: str, *, simulated: bool = True) -> SmallBench:
        bench = SmallBench(
            store=self.store, live=self.live, station=station, simulated=simulated, book=self.book
        )
        self.benches[station] = bench
        return bench

    def _publish(self, topic: str, payload: bytes) -> None:
        self.benches[topic.split("/")[2]].obey(topic, payload)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[SmallDesk]:
    """A desk without any station."""
    made = SmallDesk(tmp_path)
    yield made
    made.close()


@pytest.fixture(name="small_desk", scope="session")
def _small_desk() -> type[SmallDesk]:
    """What makes a desk on a folder, for who needs one of another kind."""
    return SmallDesk


@pytest.fixture
def bench(desk: SmallDesk) -> SmallBench:
    """A simulated bench at that desk that has just been heard."""
    made = desk.add_bench()
    made.say()
    made.read(40)
    return made


class PageReader(FlaskClient):
    """Somebody at a browser: what is posted comes from a form that a page has shown.

    ``from_a_page=False`` posts as another site would, without the page's hidden field.
    """

    def post(self, *args: Any, from_a_page: bool = True, **options: Any) -> Any:
        if from_a_page:
            data = options.get("data")
            if data is None or isinstance(data, dict):
                options["data"] = {FIELD: self._key()} | (data or {})
        return super().post(*args, **options)

    def _key(self) -> str:
        if self.get_cookie(COOKIE) is None:
            self.set_cookie(COOKIE, new_token(), httponly=True)
        cookie = self.get_cookie(COOKIE)
        assert cookie is not None
        return key_of(cookie.value)


@pytest.fixture(autouse=True)
def _clients_read_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every app made here is read by such a somebody."""
    monkeypatch.setattr(Flask, "test_client_class", PageReader)


@pytest.fixture
def browser(desk: SmallDesk) -> FlaskClient:
    """Somebody who asks for pages without a browser's window."""
    return create_app(desk).test_client()


@pytest.fixture
def browser_of() -> Callable[[SmallDesk], FlaskClient]:
    """Somebody who asks one of several desks."""
    return lambda desk: create_app(desk).test_client()


@pytest.fixture(scope="session")
def _finished_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Data of a desk on which one check came to its certificate, made once."""
    folder = tmp_path_factory.mktemp("finished")
    desk = SmallDesk(folder)
    bench = desk.add_bench()
    bench.say()
    bench.read(40)
    bench.series_ohm = 25.0
    run = desk.runs.start_sender_check(
        station="bench-1",
        item="Sender <7> & its lead",
        curve=CURVE,
        set_points_c=(30.0, 60.0, 85.0),
        customer="Mrs A. Fennimore",
    )
    desk.let_hands_finish(run, bench=bench)
    desk.close()
    return folder


@pytest.fixture
def finished_desk(tmp_path: Path, _finished_folder: Path) -> Iterator[SmallDesk]:
    """A desk on which run 1 came to its certificate."""
    folder = tmp_path / "finished"
    shutil.copytree(_finished_folder, folder)
    made = SmallDesk(folder)
    yield made
    made.close()


@pytest.fixture
def real_probe_paper() -> str:
    """Register file of a probe that exists."""
    return PROBE_PAPER.replace("simulated = true\n", "").replace('"P-1"', '"P-3"')


def events_of(text: str) -> list[dict[str, Any]]:
    """Data of the server-sent events in a piece of a stream."""
    return [
        json.loads(line.removeprefix("data: ")) for line in text.splitlines() if line.startswith("data: ")
    ]


@pytest.fixture(name="events_of")
def _events_of() -> Callable[[str], list[dict[str, Any]]]:
    return events_of
