"""A desk with real store, live rings, orders and runs; small benches stand in for its rigs."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from host.classroom.exercise_log import plant_of_runs
from host.classroom.exercises import Exercises
from host.data_folder import DataFolder
from host.live import Live
from host.order_book import OrderBook
from host.procedures.runs_at_work import RunsAtWork
from host.simulated_hands import SimulatedHands
from host.store import open_store
from tests.host.web.small_bench import BOX_PAPER, PROBE_PAPER, SmallBench


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
