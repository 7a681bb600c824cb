"""A room of simulated stations: for a class, or to see what a desk with many stations does."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from host.errors import DeskError
from host.live import Live
from host.simulated_bench import BenchState, SimulatedBench
from host.store import Store

#: Stations of a room, where nobody says how many.
USUAL_STATIONS = 6
MOST_STATIONS = 16
#: A resistor for a round lies at each; nominal. [Ω]
ARTEFACT_OHM = 1000.0


class SimulatedRoom:
    """Simulated stations side by side, each a process of its own with its own bath, probe and decade box.

    Parameters
    ----------
    folder : Path
        Each station keeps its outbox, its world and its log in a folder of its own in it.
    broker_port : int or None
        As of a `SimulatedBench`.
    seed : int
        The worlds of the stations are drawn from it and their numbers.
    """

    def __init__(
        self, *, store: Store, live: Live, folder: Path, broker_port: int | None, seed: int = 1
    ) -> None:
        self._benches = tuple(
            SimulatedBench(
                store=store,
                live=live,
                folder=folder / f"station-{number}",
                broker_port=broker_port,
                station=f"station-{number}",
                seed=100 * seed + number,
                is_one_of_many=True,
                artefact_ohm=ARTEFACT_OHM,
            )
            for number in range(1, MOST_STATIONS + 1)
        )

    @property
    def benches(self) -> tuple[SimulatedBench, ...]:
        """Stations that were started, also those that have died since."""
        return tuple(bench for bench in self._benches if bench.state is not BenchState.OFF)

    @property
    def is_on(self) -> bool:
        """Tell whether any station was started and not switched off."""
        return bool(self.benches)

    def refusal(self) -> str | None:
        """Why this desk cannot have one, in words; None where it can."""
        return self._benches[0].refusal()

    def has_died(self, station: str) -> bool:
        """Tell whether the rig of a station of this room ended by itself, or never came up."""
        return any(bench.station == station and bench.state is BenchState.FAILED for bench in self._benches)

    def start(self, count: int = USUAL_STATIONS, *, speed: str | None = None) -> None:
        """Start so many stations, and those again that have died; one that runs is left alone.

        Parameters
        ----------
        count : int
        speed : str, optional
            Rig seconds in a wall second, or ``max``.

        Raises
        ------
        DeskError
            If this desk cannot have them, or there cannot be so many.
        """
        if not 1 <= count <= MOST_STATIONS:
            raise DeskError(f"A simulated room has 1 to {MOST_STATIONS} stations, not {count}.")
        for bench in self._benches[:count]:
            bench.start(speed)

    def start_again(self, station: str) -> None:
        """Start the rig of one station that has died; its bath is as it was, cooled meanwhile.

        Raises
        ------
        DeskError
            If it is none of this room.
        """
        for bench in self._benches:
            if bench.station == station:
                bench.start()
                return
        raise DeskError(f"{station!r:.40} is no station of the simulated room.")

    def take_up(self) -> None:
        """Start the stations that were on when the desk ended."""
        for bench in self._benches:
            bench.take_up()

    def switch_off(self) -> None:
        """End every rig, and leave them off when the desk starts anew."""
        self._together(SimulatedBench.switch_off)

    def stop(self) -> None:
        """End every rig with the desk; their baths are as they were when they start again."""
        self._together(SimulatedBench.stop)

    def _together(self, end: Callable[[SimulatedBench], None]) -> None:
        with ThreadPoolExecutor(max_workers=MOST_STATIONS) as together:
            for ended in [together.submit(end, bench) for bench in self._benches]:
                ended.result()
