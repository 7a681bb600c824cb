"""One pass of the bench every quarter of a second, numbered and kept, whatever a channel does."""

import logging
import math
import sqlite3
import threading
import time
from dataclasses import dataclass, replace

from calibration.contract.readings import (
    CHANNEL_UNITS,
    ChannelReading,
    Quality,
    ReadingPack,
    encode_readings,
)
from rig.bell import Bell
from rig.bench import Bench, BenchSample
from rig.order_desk import OrderDesk
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.trouble import BENCH_UNREADABLE, DISK_UNWRITABLE, TroubleBoard

log = logging.getLogger(__name__)

PERIOD_S = 0.25
MOST_BEHIND = 20  # passes that a simulated clock may be ahead of the desk
CLOCK_STEP_S = 0.5

# A simulated world that is put away once a second loses a second of bath to a kill, and no order.
_PASSES_BETWEEN_SAVES = 4
_PASSES_BETWEEN_PRUNINGS = 1024
_STANDS_STILL_S = 10.0
_LOST_PASS_PATIENCE_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moment:
    """When a pass began, by the two clocks."""

    rig_time_s: float
    utc_s: float | None
    clock_step_s: float | None


class _ClockWatch:
    """Watches UTC against rig time for steps."""

    def __init__(self) -> None:
        self._offset_s: float | None = None

    def read(self, *, rig_time_s: float, utc_s: float | None) -> _Moment:
        """Moment of a pass, with the step since the last synchronised one where over `CLOCK_STEP_S`."""
        step_s = None
        if utc_s is not None:
            before_s, self._offset_s = self._offset_s, utc_s - rig_time_s
            step_s = None if before_s is None else round(self._offset_s - before_s, 3)
            utc_s = round(utc_s, 3)
        if step_s is not None and abs(step_s) <= CLOCK_STEP_S:
            step_s = None
        return _Moment(rig_time_s=rig_time_s, utc_s=utc_s, clock_step_s=step_s)


class Sampler:
    """Samples a bench on the clock's grid of `PERIOD_S` and keeps each pass in the outbox.

    A late pass is left out, not made up for. Orders are carried out between passes. The clock of a simulated
    bench stands still while the desk is `MOST_BEHIND` passes behind; on metal nothing stops it.
    """

    def __init__(
        self,
        *,
        bench: Bench,
        file: OutboxFile,
        outbox: Outbox,
        orders: OrderDesk,
        troubles: TroubleBoard,
        bell: Bell,
    ) -> None:
        self._bench = bench
        self._file = file
        self._outbox = outbox
        self._orders = orders
        self._troubles = troubles
        self._bell = bell
        self._stopping = threading.Event()
        self._clock_watch = _ClockWatch()
        self._last_sample: BenchSample | None = None

    def run(self) -> None:
        """Sample until `stop`."""
        clock = self._bench.clock
        index = math.ceil(clock.monotonic_s() / PERIOD_S)
        while self._desk_keeps_up():
            clock.wait_until(index * PERIOD_S)
            self._carry_out_orders()
            if self._take_pass() is None and self._bench.simulated:
                # a simulated clock must not race through passes that nobody will ever see
                self._bell.wait_for(self._stopping.is_set, _LOST_PASS_PATIENCE_S)
            index = max(index, math.floor(clock.monotonic_s() / PERIOD_S)) + 1

    def stop(self) -> None:
        """End `run` after the pass that it is in."""
        self._stopping.set()
        self._bell.ring()

    def _desk_keeps_up(self) -> bool:
        """Stand still while a simulated bench is too far ahead of its desk; False once stopped."""
        words_due = True
        while not self._stopping.is_set():
            self._carry_out_orders()
            if not self._bench.simulated or self._outbox.behind() < MOST_BEHIND:
                return True
            if not self._bell.wait_for(self._may_go_on, _STANDS_STILL_S) and words_due:
                log.warning(
                    "the simulated clock stands still: no desk has stored the last %d passes. "
                    "Start the desk, or check that it uses the same broker.",
                    MOST_BEHIND,
                )
                words_due = False
        return False

    def _may_go_on(self) -> bool:
        return self._stopping.is_set() or self._orders.pending() or self._outbox.behind() < MOST_BEHIND

    def _carry_out_orders(self) -> None:
        try:
            self._orders.carry_out(self._bench)
        except sqlite3.Error as error:  # not written down, so not carried out; it waits
            self._disk_failed(error)
            self._bell.wait_for(self._stopping.is_set, _LOST_PASS_PATIENCE_S)

    def _take_pass(self) -> int | None:
        """Sample, number, keep; the number, or None where the pass was lost."""
        clock = self._bench.clock
        when = self._clock_watch.read(rig_time_s=clock.monotonic_s(), utc_s=clock.utc_s())
        try:
            sample = self._bench.sample()
            seq = self._keep(sample, when)
        except sqlite3.Error as error:
            self._disk_failed(error)
            return None
        except Exception as error:
            log.debug("a pass failed", exc_info=True)
            self._troubles.put(BENCH_UNREADABLE, f"{type(error).__name__}: {error}. Sampling goes on.")
            return self._keep_unread(error, when)
        self._last_sample = sample
        self._troubles.clear(BENCH_UNREADABLE)
        self._finish_pass(seq)
        return seq

    def _finish_pass(self, seq: int) -> None:
        """Put the simulated world away, then answer: an answered order is never undone by a kill."""
        try:
            if self._orders.awaits_pass() or seq % _PASSES_BETWEEN_SAVES == 0:
                self._bench.save()
            self._orders.pass_kept(seq)
            if seq % _PASSES_BETWEEN_PRUNINGS == 0:
                self._outbox.prune(now_utc_s=time.time())
        except (OSError, sqlite3.Error) as error:
            self._disk_failed(error)
        else:
            self._troubles.clear(DISK_UNWRITABLE)

    def _keep(self, sample: BenchSample, when: _Moment) -> int:
        def encode(seq: int) -> bytes:
            return encode_readings(
                ReadingPack(
                    station=self._file.station,
                    rig=self._file.rig,
                    boot=self._file.boot,
                    seq=seq,
                    rig_time_s=when.rig_time_s,
                    simulated=self._bench.simulated,
                    decade_ohm=sample.decade_ohm,
                    insertion=sample.insertion,
                    range_ohm=sample.range_ohm,
                    channels=sample.channels,
                    taps=sample.taps,
                    utc_s=when.utc_s,
                    clock_step_s=when.clock_step_s,
                )
            )

        return self._outbox.append(encode, kept_at_utc_s=time.time())

    def _keep_unread(self, error: Exception, when: _Moment) -> int | None:
        """Keep a pass in which the whole bench failed: every channel missing, with the reason."""
        last = self._last_sample
        if last is None:
            return None
        reason = f"the bench could not be read ({type(error).__name__}): look at the rig's log"
        missing = {name: ChannelReading(quality=Quality.MISSING, reason=reason) for name in CHANNEL_UNITS}
        try:
            return self._keep(replace(last, channels=missing, taps={}), when)
        except sqlite3.Error as disk_error:
            self._disk_failed(disk_error)
            return None

    def _disk_failed(self, error: Exception) -> None:
        self._troubles.put(DISK_UNWRITABLE, f"{error}. Passes are lost: make room on the data folder's disk.")
