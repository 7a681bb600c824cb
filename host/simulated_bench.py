"""The simulated bench that a desk runs for somebody who has no bench yet."""

import logging
import threading
import time
from enum import StrEnum
from pathlib import Path

from host.errors import DeskError
from host.live import Live, StationState
from host.rig_process import SERVING_SPEED, RigProcess
from host.store import Store

_log = logging.getLogger(__name__)

STATION = "simulated-1"
#: Reference curve that simulated senders are meant to follow.
SIMULATED_CURVE = "ntc-310-80c"
_SEED = 1
_PAPERS = ("probe.toml", "decade_box.toml")
_ARTEFACT_PAPER = "artefact.toml"
_COMES_UP_WITHIN_S = 60.0
_LOOK_EVERY_S = 0.1


class BenchState(StrEnum):
    """How a simulated bench stands."""

    OFF = "off"
    STARTING = "starting"  # its rig was started and has not been heard yet
    HEARD = "heard"
    FAILED = "failed"


class SimulatedBench:
    """A rig of its own process on simulated silicon, as a station of this desk.

    Parameters
    ----------
    folder : Path
        Where the rig keeps its outbox, its world and its log.
    broker_port : int or None
        Port of a broker on this machine that lets anybody in; None where the desk has another one.
    station : str
        Its name; ``simulated-1`` where it stands alone.
    seed : int
        Of its world: bath, probe, decade box and senders.
    is_one_of_many : bool
        True where its instruments are kept at its station, so that other stations do not use them.
    artefact_ohm : float or None
        Nominal resistance of a resistor that goes round the stations and is kept at none. [Ω]
    """

    def __init__(
        self,
        *,
        store: Store,
        live: Live,
        folder: Path,
        broker_port: int | None,
        station: str = STATION,
        seed: int = _SEED,
        is_one_of_many: bool = False,
        artefact_ohm: float | None = None,
    ) -> None:
        self._store, self._live = store, live
        self._broker_port = broker_port
        self._is_one_of_many = is_one_of_many
        #: There while somebody wants it on: a desk that starts anew finds it.
        self._wanted = folder / "switched-on"
        self._has_artefact = artefact_ohm is not None
        self._rig = RigProcess(
            folder, station=station, port=broker_port or 0, seed=seed, artefact_ohm=artefact_ohm
        )
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._failed = False

    @property
    def station(self) -> str:
        """Its name."""
        return self._rig.station

    @property
    def pid(self) -> int | None:
        """Process number of its rig, None where none was started."""
        return self._rig.pid

    @property
    def log(self) -> Path:
        """What its rig says."""
        return self._rig.folder / "rig.log"

    @property
    def state(self) -> BenchState:
        """How it stands now."""
        if self._failed or self._rig.has_died():
            return BenchState.FAILED
        if self._rig.pid is None:
            return BenchState.OFF
        heard = self._live.station(self.station)
        came_up = self._thread is not None and not self._thread.is_alive()
        is_live = heard is not None and heard.state is StationState.LIVE
        return BenchState.HEARD if came_up and is_live else BenchState.STARTING

    def refusal(self) -> str | None:
        """Why this desk cannot have a simulated bench, in words; None where it can."""
        if self._broker_port is None:
            return (
                "This desk works with a broker of the shop, and a simulated bench has no password for it. "
                "Try it in a folder of its own: ohmbath demo"
            )
        if any(not instrument.simulated for instrument in self._store.register.all()):
            return (
                "This desk's register holds real instruments, and simulated ones do not belong beside them. "
                "Try it in a folder of its own: ohmbath demo"
            )
        return None

    def start(self, speed: str | None = None) -> None:
        """Start its rig, and put the papers of its simulated instruments into the register.

        Parameters
        ----------
        speed : str, optional
            Rig seconds in a wall second, or ``max``; one for watching, where it is not given.

        Raises
        ------
        DeskError
            If this desk cannot have one, or the rig's program is missing.
        """
        with self._lock:
            words = self.refusal()
            if words is not None:
                raise DeskError(words)
            if self._rig.pid is not None and not self._rig.has_died():
                return
            self._rig.stop()
            if self.station not in {known.station for known in self._store.stations.all()}:
                self._store.stations.add(self.station)
            self._live.add_station(self.station)
            self._failed = False
            self._rig.start(speed or f"{SERVING_SPEED:g}")
            if speed is None:
                self._wanted.touch()
            self._thread = threading.Thread(target=self._bring_up, name="simulated-bench", daemon=True)
            self._thread.start()

    def take_up(self) -> None:
        """Start it where it was on when the desk ended, however that ended; else leave it off."""
        if not self._wanted.exists():
            return
        try:
            self.start()
        except DeskError as error:
            _log.warning("%s was on when the desk ended and is not started: %s", self.station, error)

    def switch_off(self) -> None:
        """End its rig, and leave it off when the desk starts anew."""
        self._wanted.unlink(missing_ok=True)
        self.stop()

    def stop(self) -> None:
        """End its rig with the desk; its bath is as it was when it starts again."""
        self._stopping.set()
        with self._lock:
            if self._thread is not None:
                self._thread.join()
            self._rig.stop()
        self._stopping.clear()

    def _bring_up(self) -> None:
        end_s = time.monotonic() + _COMES_UP_WITHIN_S
        names = (*_PAPERS, _ARTEFACT_PAPER) if self._has_artefact else _PAPERS
        papers = [self._rig.folder / "papers" / name for name in names]
        while not self._stopping.wait(_LOOK_EVERY_S):
            if self._rig.has_died() or time.monotonic() > end_s:
                self._failed = True
                return
            if self._live.latest(self.station) is not None and all(paper.exists() for paper in papers):
                for paper in papers:
                    text = paper.read_text("utf-8")
                    goes_round = paper.name == _ARTEFACT_PAPER
                    self._store.register.add_text(text if goes_round else self._kept_here(text))
                return

    def _kept_here(self, paper: str) -> str:
        return f'station = "{self.station}"\n{paper}' if self._is_one_of_many else paper
