"""The demo with a room of simulated stations: for a class to use, or a check at each of them at once."""

import contextlib
import functools
import time
from collections.abc import Callable, Iterator, Mapping

from host.broker import EmbeddedBroker
from host.data_folder import DataFolder
from host.demo import SET_POINTS_C, SHOP, DemoCheck, check_of
from host.desk import Desk
from host.errors import DeskError
from host.procedures.runs_at_work import RunView, wait_until_over
from host.procedures.sender.sender_check_settings import Course
from host.procedures.sender.sender_check_start import SenderCheckWish
from host.simulated_bench import SIMULATED_CURVE, BenchState
from host.simulated_room import SimulatedRoom

#: Corroded clips, 15 Ω in series: twice the U of a channel as bought at 1 kΩ.
BAD_CLIPS = "series:15"
_RIGS_START_WITHIN_S = 90.0
_RUNS_END_WITHIN_S = 900.0

Views = Mapping[str, Callable[[], RunView]]


class RoomDemo:
    """A broker, a desk and a room of simulated stations around one fresh folder.

    Parameters
    ----------
    folder : DataFolder
    stations : int
        How many.
    seed : int
        Of their worlds.
    plant : str
        Fault in the sender of every second station, in the rig's own words, where the demo leads the checks.
        Where people do, one station holds the resistor of a round in bad clips; see `BAD_CLIPS`.
    leads : bool
        True where a check is led at each station, by simulated hands and as fast as the machine can; False
        where people start them, at a speed for watching.
    say : callable
        Gets words for the person in front.
    """

    def __init__(
        self,
        folder: DataFolder,
        *,
        stations: int,
        seed: int,
        plant: str,
        leads: bool,
        say: Callable[[str], None],
    ) -> None:
        self._count, self._plant, self._leads = stations, plant, leads
        #: Station whose clips are bad in a round of the resistor.
        self.badly_clipped = f"station-{(seed + 1) % stations + 1}"
        self._broker = EmbeddedBroker(folder=folder.broker, say=say)
        self._broker.start()
        self.desk = Desk(
            folder.lock(),
            broker_host="127.0.0.1",
            broker_port=self._broker.port,
            with_hands=leads,
            plant_of=self._plant_of,
            clips_of=self._clips_of,
        )
        self.desk.store.settings.change(SHOP)
        self.room = SimulatedRoom(
            store=self.desk.store,
            live=self.desk.live,
            folder=folder.path / "simulated-room",
            broker_port=self._broker.port,
            seed=seed,
        )
        self.desk.simulated_room = self.room

    def start(self) -> None:
        """Start desk and stations; returns once all are heard.

        Raises
        ------
        DeskError
            If one does not come up.
        """
        self.desk.start()
        self.room.start(self._count, speed="max" if self._leads else None)
        end_s = time.monotonic() + _RIGS_START_WITHIN_S
        while waited_for := [one for one in self.room.benches if one.state is not BenchState.HEARD]:
            died = [one for one in waited_for if one.state is BenchState.FAILED]
            if died or time.monotonic() > end_s:
                one = (died or waited_for)[0]
                raise DeskError(f"The rig of {one.station} did not come up: see {one.log}.")
            time.sleep(0.02)

    def check_all(self, course: Course, follow: Callable[[Views], None]) -> tuple[DemoCheck, ...]:
        """Lead a check at every station at once.

        Parameters
        ----------
        course : Course
            How the bath is taken through the set points.
        follow : callable
            Called with the view of each run by its item, to show progress until all are over.
        """
        runs = {
            f"Sender at {one.station}": self._start_check(one.station, course) for one in self.room.benches
        }
        follow({item: functools.partial(self.desk.runs.view, run) for item, run in runs.items()})
        return tuple(
            check_of(
                self.desk,
                item,
                run,
                wait_until_over(self.desk.runs, run, timeout_s=_RUNS_END_WITHIN_S).state,
            )
            for item, run in runs.items()
        )

    def readings_stored(self) -> tuple[int, int]:
        """How many numbers of the stations are accounted for, and how many of them by no reading."""
        stored = lost = 0
        for one in self.room.benches:
            for boot, watermark in self.desk.store.packs.watermarks(one.station).items():
                stored += watermark
                lost += sum(gap.last - gap.first + 1 for gap in self.desk.store.packs.gaps(one.station, boot))
        return stored, lost

    def stop(self) -> None:
        """Stop everything; the folder stays."""
        self.desk.stop()
        self._broker.stop()

    def _start_check(self, station: str, course: Course) -> int:
        wish = SenderCheckWish(
            station=station,
            item=f"Sender at {station}",
            curve=SIMULATED_CURVE,
            set_points_c=SET_POINTS_C,
            operator="demo",
            move_connector=True,
            course=course,
        )
        return self.desk.runs.start_check(wish)

    def _clips_of(self, station: str) -> str | None:
        """What is wrong with the clips of one station; only hands that clip a resistor in ask."""
        return BAD_CLIPS if station == self.badly_clipped and not self._leads else None

    def _plant_of(self, run: int) -> str | None:
        """Every second station has the fault; only hands that fit a sender ask."""
        if not self._leads:
            return None
        number = int(self.desk.runs.view(run).station.rpartition("-")[2])
        return self._plant if number % 2 == 0 else None


@contextlib.contextmanager
def running_room(
    folder: DataFolder,
    *,
    stations: int,
    seed: int,
    plant: str,
    leads: bool,
    say: Callable[[str], None],
) -> Iterator[RoomDemo]:
    """A room that is stopped however its block ends."""
    demo = RoomDemo(folder, stations=stations, seed=seed, plant=plant, leads=leads, say=say)
    try:
        demo.start()
        yield demo
    finally:
        demo.stop()
