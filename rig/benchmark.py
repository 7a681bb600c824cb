"""What this rig reaches on this machine: jitter, burst, memory, speed. Figures, no verdicts.

Silicon is simulated and the drivers are real, so the figures for jitter are those of program and machine;
on a Raspberry Pi they have to be taken there.
"""

import os
import resource
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import Any

from calibration.contract.presence import Stored
from calibration.contract.readings import ReadingPack
from calibration.contract.senml import decode_readings
from rig.bell import Bell
from rig.bench import SimulatedBench, simulated_bench
from rig.clock import RealClock, SimulatedClock
from rig.drivers.burst import INTERVAL_S
from rig.drivers.pacing import Pacer, RealPacer
from rig.order_desk import OrderDesk
from rig.order_log import OrderLog
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.pace import USUAL_PERIOD_S
from rig.running import QUICK_GROUP
from rig.sampler import Sampler
from rig.trouble import TroubleBoard
from rig.wiring import load_wiring

_MB = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Lateness:
    """How far from where it should be something was taken, over ``count`` times. [ms]"""

    count: int
    median_ms: float
    p95_ms: float
    most_ms: float

    @classmethod
    def of(cls, lateness_s: list[float]) -> "Lateness":
        """Of distances in seconds."""
        ordered = sorted(1000.0 * abs(each) for each in lateness_s)
        return cls(
            count=len(ordered),
            median_ms=round(median(ordered), 3),
            p95_ms=round(ordered[int(0.95 * (len(ordered) - 1))], 3),
            most_ms=round(ordered[-1], 3),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Benchmark:
    """The figures.

    Attributes
    ----------
    speed_times : float
        Rig seconds in a wall second, with all drivers, the outbox and a desk that answers at once.
    speed_times_by_processor : float
        Rig seconds in a second of processor time: the same without waits for the disk or other programs.
    cpu_ms_per_pass : float
        Processor time of a pass. [ms]
    memory_mb : tuple of float
        Resident memory after each tenth of the passes. [MB]
    load_before : float
        Load average of the machine when it began: above the number of processors, all figures are too high.
    """

    simulated_hours: float
    passes: int
    speed_times: float
    speed_times_by_processor: float
    cpu_ms_per_pass: float
    memory_mb: tuple[float, ...]
    outbox_mb: float
    pass_jitter: Lateness
    burst_jitter: Lateness
    load_before: float
    processors: int

    def as_json(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)

    def lines(self) -> Iterator[str]:
        """For a person."""
        yield f"load {self.load_before:.1f} on {self.processors} processors when it began"
        yield (
            f"speed: {self.speed_times:.0f} times real time at 4 passes a second ({self.passes:,} passes); "
            f"{self.speed_times_by_processor:.0f} simulated seconds in a second of processor time, "
            f"{self.cpu_ms_per_pass:.2f} ms a pass"
        )
        each = ", ".join(f"{mb:.1f}" for mb in self.memory_mb)
        yield (
            f"memory: {each} MB after each tenth of {self.simulated_hours:g} simulated hours; "
            f"outbox {self.outbox_mb:.1f} MB"
        )
        for name, jitter in (("4 Hz", self.pass_jitter), ("50 Hz burst", self.burst_jitter)):
            yield (
                f"jitter, {name}: median {jitter.median_ms:.2f} ms, 95 % {jitter.p95_ms:.2f} ms, "
                f"most {jitter.most_ms:.2f} ms of {jitter.count}"
            )


class _WallPacer:
    """Moves the chips' own time, and waits as long on the wall as it would on metal."""

    def __init__(self, chips: Pacer) -> None:
        self._chips = chips
        self._real = RealPacer()
        self._origin_s = time.monotonic()

    def wait(self, duration_s: float) -> None:
        self._chips.wait(duration_s)
        self._real.wait(duration_s)

    def start(self, interval_s: float) -> None:
        self._chips.start(interval_s)
        self._real.start(interval_s)

    def next(self) -> None:
        self._chips.next()
        self._real.next()

    def now_s(self) -> float:
        return time.monotonic() - self._origin_s


class _Works:
    """Bench, outbox and sampler in a folder, with a desk that says at once that all is stored."""

    def __init__(self, folder: Path, bench: SimulatedBench, *, group: int) -> None:
        self.bench = bench
        self.file = OutboxFile(folder / "outbox.sqlite")
        self.bell = Bell()
        self.outbox = Outbox(self.file, self.bell)
        orders = OrderDesk(
            orders_log=OrderLog(self.file),
            boot=self.file.boot,
            store=lambda: None,
            clock=bench.clock,
            bell=self.bell,
        )
        self.sampler = Sampler(
            bench=bench,
            file=self.file,
            outbox=self.outbox,
            orders=orders,
            troubles=TroubleBoard(self.bell),
            bell=self.bell,
            group=group,
        )
        self._done = threading.Event()
        self._threads = [threading.Thread(target=work) for work in (self.sampler.run, self._answer)]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        self.sampler.stop()
        self._threads[0].join()
        self._done.set()
        self.bell.ring()
        self._threads[1].join()

    def last(self) -> int:
        return self.outbox.boots()[self.file.boot].last

    def wait_for(self, passes: int) -> None:
        self.bell.wait_for(lambda: self.last() >= passes)

    def close(self) -> None:
        self.bench.close()
        self.file.close()

    def _answer(self) -> None:
        n = 0
        while not self._done.is_set():
            self.bell.wait_for(lambda: self._done.is_set() or self.outbox.behind() > 0)
            n += 1
            stored = Stored(store="benchmark", epoch=1, n=n, boots={self.file.boot: self.last()})
            self.outbox.hear(stored, live=True)


def run_benchmark(*, simulated_hours: float, jitter_s: float, bursts: int, seed: int = 1) -> Benchmark:
    """Take all figures in a temporary folder.

    Parameters
    ----------
    simulated_hours : float
        For speed and memory. [h]
    jitter_s : float
        Wall time for jitter at four passes a second. [s]
    bursts : int
        Bursts of one second.
    """
    load_before = os.getloadavg()[0]
    passes = round(simulated_hours * 3600 / USUAL_PERIOD_S)
    with tempfile.TemporaryDirectory() as text:
        course = _course(Path(text), passes, seed)
    with tempfile.TemporaryDirectory() as text:
        pass_jitter, burst_jitter = _jitter(Path(text), jitter_s, bursts, seed)
    return Benchmark(
        simulated_hours=simulated_hours,
        passes=passes,
        speed_times=round(course.speed(course.wall_s), 1),
        speed_times_by_processor=round(course.speed(course.cpu_s), 1),
        cpu_ms_per_pass=round(1000.0 * course.cpu_s / course.passes, 3),
        memory_mb=tuple(round(mb, 1) for mb in course.memory_mb),
        outbox_mb=round(course.outbox_mb, 1),
        pass_jitter=pass_jitter,
        burst_jitter=burst_jitter,
        load_before=round(load_before, 2),
        processors=os.cpu_count() or 1,
    )


@contextmanager
def _works(folder: Path, bench: SimulatedBench, *, group: int) -> Iterator[_Works]:
    works = _Works(folder, bench, group=group)
    works.start()
    try:
        yield works
    finally:
        works.stop()
        works.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Course:
    """What passes cost, from the first tenth on."""

    passes: int
    wall_s: float
    cpu_s: float
    memory_mb: list[float]
    outbox_mb: float

    def speed(self, seconds: float) -> float:
        return self.passes * USUAL_PERIOD_S / seconds


def _course(folder: Path, passes: int, seed: int) -> _Course:
    clock = SimulatedClock(start_utc_s=time.time())
    bench = simulated_bench(
        wiring=load_wiring(), seed=seed, plant=None, world_file=folder / "world.json", clock=clock
    )
    with _works(folder, bench, group=QUICK_GROUP) as works:
        works.wait_for(passes // 10)
        memory_mb = [_resident_mb()]
        wall_s, cpu_s, first = time.monotonic(), time.process_time(), works.last()
        for tenth in range(2, 11):
            works.wait_for(tenth * passes // 10)
            memory_mb.append(_resident_mb())
        return _Course(
            passes=works.last() - first,
            wall_s=time.monotonic() - wall_s,
            cpu_s=time.process_time() - cpu_s,
            memory_mb=memory_mb,
            outbox_mb=(folder / "outbox.sqlite").stat().st_size / _MB,
        )


def _jitter(folder: Path, jitter_s: float, bursts: int, seed: int) -> tuple[Lateness, Lateness]:
    bench = simulated_bench(
        wiring=load_wiring(),
        seed=seed,
        plant=None,
        world_file=folder / "world.json",
        clock=RealClock(),
        pacer_over=_WallPacer,
    )
    with _works(folder, bench, group=1) as works:
        works.wait_for(round(jitter_s / USUAL_PERIOD_S))
        packs = [
            decode_readings(payload, station=works.file.station)
            for _, payload in works.outbox.messages(works.file.boot, 1, works.last())
        ]
        times_s = [pack.rig_time_s for pack in packs if isinstance(pack, ReadingPack)]
        works.sampler.stop()
        late_s = []
        for _ in range(bursts):
            points = bench.burst(1.0)
            late_s += [point.time_s - points[0].time_s - i * INTERVAL_S for i, point in enumerate(points)]
    grid_s = [time_s - round(time_s / USUAL_PERIOD_S) * USUAL_PERIOD_S for time_s in times_s]
    return Lateness.of(grid_s), Lateness.of(late_s)


def _resident_mb() -> float:
    """Memory that this process holds now, or held at most where the system does not say. [MB]"""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / _MB
    return pages * resource.getpagesize() / _MB
