"""The desk put together: store, ingest, orders, runs and hands around one data folder."""

import logging
from collections.abc import Callable
from importlib.metadata import version

from host.broker import LOOPBACK
from host.classroom.exercise_log import plant_of_runs
from host.classroom.exercises import Exercises
from host.data_folder import DataFolder
from host.idle_readings import DailyClearing
from host.ingest import Ingest
from host.live import Live
from host.open_run_marks import OpenRunMarks
from host.order_book import OrderBook
from host.procedures.runs_at_work import RunsAtWork
from host.simulated_bench import SimulatedBench
from host.simulated_hands import SimulatedHands
from host.simulated_room import SimulatedRoom
from host.store import open_store
from host.wire import Access

_log = logging.getLogger(__name__)


class Desk:
    """A desk at work on a data folder.

    Parameters
    ----------
    folder : DataFolder
        Locked for this process.
    broker_host, broker_port : str, int
        Any MQTT 3.1.1 broker.
    with_hands : bool
        True where simulated hands do by themselves what the step cards ask at simulated stations.
    access : Access
        How the broker lets this desk in.
    plant_of : callable
        Fault in the sender that the hands fit for a run; see `SimulatedHands`.
    clips_of : callable
        Fault of the clips that hold a resistor at a station; see `SimulatedHands`.
    """

    def __init__(
        self,
        folder: DataFolder,
        *,
        broker_host: str,
        broker_port: int,
        with_hands: bool = False,
        plant_of: Callable[[int], str | None] = lambda run: None,
        clips_of: Callable[[str], str | None] = lambda station: None,
        access: Access | None = None,
    ) -> None:
        self.folder = folder
        self.store = open_store(folder)
        self.store.hold()
        self.live = Live.from_store(self.store)
        self.ingest = Ingest(
            self.store,
            self.live,
            host=broker_host,
            port=broker_port,
            keep=OpenRunMarks(self.store),
            access=access,
        )
        self.book = OrderBook(self.store, self.ingest.publish)
        self.ingest.give_answers_to(self.book.take)
        self.hands = SimulatedHands(
            live=self.live,
            book=self.book,
            plant_of=plant_of_runs(self.store, plant_of),
            clips_of=clips_of,
        )
        self.runs = RunsAtWork(
            store=self.store,
            live=self.live,
            book=self.book,
            after_work=self.hands.watch if with_hands else lambda views: None,
        )
        self.hands.serve(self.runs)
        self.exercises = Exercises(store=self.store, live=self.live, book=self.book, runs=self.runs)
        self.clearing = DailyClearing(self.store)
        open_port = broker_port if _lets_anybody_in(broker_host, access) else None
        self.simulated_bench = SimulatedBench(
            store=self.store, live=self.live, folder=folder.path / "simulated-bench", broker_port=open_port
        )
        self.simulated_room = SimulatedRoom(
            store=self.store, live=self.live, folder=folder.path / "simulated-room", broker_port=open_port
        )

    def start(self) -> None:
        """Begin to listen, to order and to lead."""
        _log.info("the desk starts, version %s, store %s", version("ohmbath"), self.store.identity.store)
        self.ingest.start()
        self.book.start()
        self.runs.start()
        self.clearing.start()
        self.simulated_bench.take_up()
        self.simulated_room.take_up()

    def stop(self) -> None:
        """Leave everything as it can be taken up again."""
        self.clearing.stop()
        self.simulated_bench.stop()
        self.simulated_room.stop()
        self.runs.stop()
        self.book.stop()
        self.ingest.stop()
        self.store.close()
        self.folder.unlock()


def _lets_anybody_in(broker_host: str, access: Access | None) -> bool:
    """Tell whether a rig on this machine needs neither password nor authority for that broker."""
    wants_nothing = access is None or (access.username is None and access.ca_file is None)
    return wants_nothing and broker_host in (LOOPBACK, "localhost")
