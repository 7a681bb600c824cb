"""One pass of the bench every quarter of a second, numbered and kept, whatever a channel does."""

import functools
import logging
import sqlite3
import threading
import time
from dataclasses import dataclass, replace

from calibration.contract.readings import CHANNEL_UNITS, ChannelReading, Quality, ReadingPack
from calibration.contract.senml import encode_readings
from rig.bell import Bell
from rig.bench import Bench, BenchSample
from rig.desk_watch import LOST_AFTER_S, DeskWatch
from rig.order_desk import OrderDesk
from rig.outbox import Outbox
from rig.outbox_file import OutboxFile
from rig.pace import Pace
from rig.start_check import channel_lines
from rig.trouble import (
    BENCH_UNREADABLE,
    DESK_LOST,
    DISK_UNWRITABLE,
    NOT_SAFE,
    OUTBOX_FULL,
    OUTBOX_THINNED,
    TroubleBoard,
)

log = logging.getLogger(__name__)

MOST_BEHIND = 20  # passes that a simulated clock may be ahead of the desk
CLOCK_STEP_S = 0.5

# A simulated world that is put away once a second loses a second of bath to a kill, and no order. Where
# passes are kept in groups it is so many seconds: a rename costs more than the passes between two of them.
_PASSES_BETWEEN_SAVES = 4
_PASSES_BETWEEN_PRUNINGS = 1024
_STANDS_STILL_S = 10.0
_TURN_S = 1.0  # longest wait without a sign of life
_LOST_PASS_PATIENCE_S = 1.0
# In the first ones relays have just moved and the witness has not converted: nothing to go and look for.
_PASSES_BEFORE_CHANNELS_ARE_SAID = 8


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


@dataclass(slots=True)
class _HeldPass:
    """A pass that was taken and is not numbered yet; ``was_read`` is False where the bench failed in it."""

    sample: BenchSample
    when: _Moment
    sender_duty: float | None
    was_read: bool = True


class Sampler:
    """Samples a bench on the grid of its pace and keeps each pass in the outbox.

    Orders are carried out between passes. The clock of a simulated bench stands still while the desk is
    `MOST_BEHIND` passes behind; on metal nothing stops it.

    Parameters
    ----------
    group : int
        Passes kept in one transaction: 1 on metal, a few where passes come faster than a disk is written.

    Attributes
    ----------
    turned_at_s : float
        Wall time of the last sign of life, for the watchdog. [s]
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
        pace: Pace | None = None,
        desk: DeskWatch | None = None,
        group: int = 1,
    ) -> None:
        self._bench = bench
        self._file = file
        self._outbox = outbox
        self._orders = orders
        self._troubles = troubles
        self._bell = bell
        self._pace = pace or Pace()
        self._desk = desk or DeskWatch()
        self._group = group
        self._between_saves = _PASSES_BETWEEN_SAVES * group
        self._stopping = threading.Event()
        self._clock_watch = _ClockWatch()
        self._held: list[_HeldPass] = []
        self._passes_to_say = _PASSES_BEFORE_CHANNELS_ARE_SAID + 1
        self.last_sample: BenchSample | None = None
        self.turned_at_s = time.monotonic()

    def run(self) -> None:
        """Put everything off, then sample until `stop`: a killed program leaves relays as they are."""
        self._make_safe()
        clock = self._bench.clock
        due_s = self._pace.first_from(clock.monotonic_s())
        while self._desk_keeps_up():
            clock.wait_until(due_s)
            self._carry_out_orders()
            if not self._hold_pass() and self._bench.simulated:
                # a simulated clock must not race through passes that nobody will ever see
                self._bell.wait_for(self._stopping.is_set, _LOST_PASS_PATIENCE_S)
            elif len(self._held) >= self._group or self._orders.awaits_pass():
                self._keep_held()
            due_s = self._pace.next_after(max(due_s, clock.monotonic_s()))
        self._keep_held()

    def stop(self) -> None:
        """End `run` after the pass that it is in."""
        self._stopping.set()
        self._bell.ring()

    def _desk_keeps_up(self) -> bool:
        """Stand still while a simulated bench is too far ahead of its desk; False once stopped."""
        standing_since_s = time.monotonic()
        words_due = True
        while not self._stopping.is_set():
            self.turned_at_s = time.monotonic()
            self._look_for_desk()
            self._carry_out_orders()
            if not self._bench.simulated or self._behind() < MOST_BEHIND:
                return True
            self._keep_held()
            self._bell.wait_for(self._may_go_on, _TURN_S)
            if words_due and time.monotonic() - standing_since_s >= _STANDS_STILL_S:
                log.warning(
                    "the simulated clock stands still: no desk has stored the last %d passes. "
                    "Start the desk, or check that it uses the same broker.",
                    MOST_BEHIND,
                )
                words_due = False
        return False

    def _behind(self) -> int:
        return self._outbox.behind() + len(self._held)

    def _may_go_on(self) -> bool:
        return self._stopping.is_set() or self._orders.pending() or self._behind() < MOST_BEHIND

    def _look_for_desk(self) -> None:
        """Put all relays off where nobody has watched for too long; the packs show it."""
        if self._desk.just_lost():
            self._troubles.put(
                DESK_LOST,
                f"no desk was heard for {LOST_AFTER_S:g} s: all relays go off. Sampling goes on. Start the "
                "desk, or look for the network.",
            )
            self._make_safe()
        elif not self._desk.is_lost():
            self._troubles.clear(DESK_LOST)

    def _make_safe(self) -> None:
        try:
            self._bench.safe()
        except Exception as error:  # whatever a chip does, sampling goes on and says so
            log.debug("the bench could not be put safe", exc_info=True)
            self._troubles.put(NOT_SAFE, f"{error}. Take the bench's supply away, then look at its relays.")
        else:
            self._troubles.clear(NOT_SAFE)

    def _carry_out_orders(self) -> None:
        try:
            self._orders.carry_out(self._bench)
        except sqlite3.Error as error:  # not written down, so not carried out; it waits
            self._disk_failed(error)
            self._bell.wait_for(self._stopping.is_set, _LOST_PASS_PATIENCE_S)

    def _take_pass(self) -> int | None:
        """Sample, number, keep; the number, or None where the pass was lost."""
        return self._keep_held() if self._hold_pass() else None

    def _hold_pass(self) -> bool:
        """Sample; what it found waits to be numbered and kept. False where there is nothing to keep."""
        clock = self._bench.clock
        when = self._clock_watch.read(rig_time_s=clock.monotonic_s(), utc_s=clock.utc_s())
        if when.clock_step_s is not None:
            log.warning(
                "the clock was set by %+.3f s; order and durations are not touched", when.clock_step_s
            )
        try:
            self._bench.shows_trouble = bool(self._troubles.words())
            sample = self._bench.sample()
        except Exception as error:
            log.debug("a pass failed", exc_info=True)
            self._note_unreadable(error)
            if self.last_sample is None:
                return False
            self._hold(_unread(self.last_sample, error), when, was_read=False)
            return True
        self._say_channels_once(sample)
        self.last_sample = sample
        self._troubles.clear(BENCH_UNREADABLE)
        self._troubles.show_bench(self._bench.trouble)
        self._hold(sample, when)
        return True

    def _hold(self, sample: BenchSample, when: _Moment, *, was_read: bool = True) -> None:
        duty = None if sample.sender_duty is None else self._pace.duty(sample.sender_duty)
        self._held.append(_HeldPass(sample, when, sender_duty=duty, was_read=was_read))

    def _say_channels_once(self, sample: BenchSample) -> None:
        self._passes_to_say -= self._passes_to_say > 0
        if self._passes_to_say == 1:
            for line in channel_lines(sample):
                log.info("at the start: %s", line)

    def _keep_held(self) -> int | None:
        """Number and keep what waits, in one transaction; the last number, or None where it was lost."""
        held, self._held = self._held, []
        if not held:
            return None
        try:
            numbers = self._outbox.append_all(
                [functools.partial(self._encode, one) for one in held], kept_at_utc_s=time.time()
            )
        except sqlite3.Error as error:
            self._disk_failed(error)
            return None
        self._show_room()
        self._finish_passes(numbers, was_read=held[-1].was_read)
        return numbers[-1]

    def _finish_passes(self, numbers: list[int], *, was_read: bool) -> None:
        """Put the simulated world away, then answer: an answered order is never undone by a kill."""
        try:
            if self._orders.awaits_pass() or any(seq % self._between_saves == 0 for seq in numbers):
                self._bench.save()
            if was_read:
                self._orders.pass_kept(numbers[-1])
            if any(seq % _PASSES_BETWEEN_PRUNINGS == 0 for seq in numbers):
                self._outbox.prune(now_utc_s=time.time())
        except (OSError, sqlite3.Error) as error:
            self._disk_failed(error)
        else:
            self._troubles.clear(DISK_UNWRITABLE)

    def _pack(self, sample: BenchSample, held: _HeldPass, seq: int) -> ReadingPack:
        when = held.when
        return ReadingPack(
            station=self._file.station,
            rig=self._file.rig,
            boot=self._file.boot,
            seq=seq,
            rig_time_s=when.rig_time_s,
            simulated=self._bench.simulated,
            decade_ohm=sample.decade_ohm,
            insertion=sample.insertion,
            range_ohm=sample.range_ohm,
            sender_duty=held.sender_duty,
            infrared_emissivity=sample.infrared_emissivity,
            channels=sample.channels,
            taps=sample.taps,
            utc_s=when.utc_s,
            clock_step_s=when.clock_step_s,
            burst=sample.burst,
            shots_before_s=tuple(max(0.0, when.rig_time_s - shot_s) for shot_s in sample.shots_s),
        )

    def _encode(self, held: _HeldPass, seq: int) -> bytes:
        """Bytes of a pass; where a value cannot be said, of a pass without values."""
        try:
            return encode_readings(self._pack(held.sample, held, seq))
        except ValueError as error:
            self._note_unreadable(error)
            held.was_read = False
            return encode_readings(self._pack(_unread(held.sample, error), held, seq))

    def _note_unreadable(self, error: Exception) -> None:
        self._troubles.put(BENCH_UNREADABLE, f"{type(error).__name__}: {error}. Sampling goes on.")

    def _show_room(self) -> None:
        if self._outbox.full:
            self._troubles.put(
                OUTBOX_FULL,
                "the outbox is full: no new reading is kept until a desk takes the old ones. Start the desk.",
            )
        else:
            self._troubles.clear(OUTBOX_FULL)
        if self._outbox.thinned:
            self._troubles.put(
                OUTBOX_THINNED,
                "the outbox ran short of room: of idle readings no desk has, one in ten seconds was kept. "
                "Start the desk.",
            )
        else:
            self._troubles.clear(OUTBOX_THINNED)

    def _disk_failed(self, error: Exception) -> None:
        self._troubles.put(DISK_UNWRITABLE, f"{error}. Passes are lost: make room on the data folder's disk.")


def _unread(last: BenchSample, error: Exception) -> BenchSample:
    """A pass in which the whole bench failed: every channel missing, with the reason."""
    reason = f"the bench could not be read ({type(error).__name__}): look at the rig's log"
    missing = {name: ChannelReading(quality=Quality.MISSING, reason=reason) for name in CHANNEL_UNITS}
    return replace(last, channels=missing, taps={}, burst=(), shots_s=())
