"""Watches the readings of a bath: settled, window closed, window given up."""

import math
from collections import deque
from dataclasses import dataclass

from calibration.bath.settling import (
    SETTLING_WINDOW_S,
    SLOPE_LIMIT_K_PER_MIN,
    Settling,
    settling,
    slope_k_per_min,
)
from calibration.bench_point import BenchSetup, Plateau, is_held_long_enough, sender_error
from calibration.contract.readings import Insertion, ReadingPack
from calibration.temperature_scale import kelvin_from_celsius
from host.citation import Citation
from host.procedures.bench_setup import raw_count
from host.procedures.event import Event
from host.procedures.sender.bath_reading import (
    UNREADABLE_S,
    UNREADABLE_WORDS,
    UnusableReadingError,
    bath_reading_of,
)
from host.procedures.sender.sender_check import Kind
from host.procedures.sender.sender_check_state import SenderCheckState

#: Rig time that a window covers. [s]
WINDOW_S = 60.0

#: Where a bath wanders too slowly for that, the window goes on by so much at a time, and no further. [s]
HOLD_ON_S = 30.0
LONGEST_WINDOW_S = 240.0

#: Readings that a window may lose to bad quality. [1]
_MOST_BAD_SHARE = 0.1

#: Readings between two looks at the settling.
_LOOK_EVERY = 4

#: How near the set point a plateau has to be. [K]
_ARRIVAL_K = 1.5
_ARRIVAL_AT_A_PRINTED_ROW_K = 0.4

# Beta of a usual coolant sender: good enough to turn a drift in ohms into one in kelvin. [K]
_USUAL_BETA_K = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """One reading as temperatures; the sender's is good for its drift alone, its zero is anywhere."""

    pack: ReadingPack
    probe_c: float
    sender_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BathStatus:
    """What the step card says while it waits.

    Attributes
    ----------
    probe_c : float or None
        Last good temperature of the bath. [°C]
    probe, sender : Settling or None
        State of both channels.
    left_s : float or None
        Rig time until the open window closes. [s]
    held_on : bool
        True where it goes on for longer than usual, because sender and probe wander against each other.
    rest_s : float or None
        Rig time for which a change that was made on purpose still rests. [s]
    trouble : str or None
        Why the last reading may not be used.
    """

    probe_c: float | None = None
    probe: Settling | None = None
    sender: Settling | None = None
    left_s: float | None = None
    held_on: bool = False
    rest_s: float | None = None
    trouble: str | None = None


class PlateauWatch:
    """Fed each reading in order; the same readings always lead to the same events.

    Parameters
    ----------
    setup : BenchSetup
        Turns counts into temperatures.
    """

    def __init__(self, setup: BenchSetup) -> None:
        self._setup = setup
        self._recent: deque[_Seen] = deque()
        self._window: list[_Seen] = []
        self._hold_s = WINDOW_S
        self._bad = 0
        self._fed = 0
        self._unreadable_since_s: float | None = None
        self.status = BathStatus()

    def feed(self, state: SenderCheckState, pack: ReadingPack) -> Event | None:
        """Event that a reading leads to, or None."""
        if state.opened_at is not None and state.opened_at[0] != pack.boot:
            return self._given_up(pack, "the rig was started again")
        if self._recent and self._recent[-1].pack.boot != pack.boot:
            self._forget()
            self._unreadable_since_s = None
        reading, trouble = self._reading(state, pack)
        self.status = BathStatus(
            probe_c=reading.probe_c if reading else self.status.probe_c,
            probe=self.status.probe,
            sender=self.status.sender,
            left_s=self.status.left_s,
            held_on=self.status.held_on,
            trouble=trouble,
        )
        if self._is_unreadable_too_long(pack, reading):
            return self._stopped(trouble)
        if state.opened_at is not None:
            return self._feed_window(state, pack, reading)
        return self._feed_settling(state, reading)

    def _is_unreadable_too_long(self, pack: ReadingPack, reading: _Seen | None) -> bool:
        if reading is not None or pack.insertion is not Insertion.NONE:
            self._unreadable_since_s = None
            return False
        if self._unreadable_since_s is None:
            self._unreadable_since_s = pack.rig_time_s
        return pack.rig_time_s - self._unreadable_since_s > UNREADABLE_S

    def _stopped(self, trouble: str | None) -> Event:
        self._forget()
        words = UNREADABLE_WORDS.format(minutes=UNREADABLE_S / 60.0, trouble=trouble)
        return Event(kind=Kind.STOPPED, payload={"reason": words})

    def _reading(self, state: SenderCheckState, pack: ReadingPack) -> tuple[_Seen | None, str | None]:
        try:
            reading = bath_reading_of(state, pack, self._setup)
        except UnusableReadingError as error:
            return None, str(error)
        kelvin = kelvin_from_celsius(reading.probe_c if state.set_point_c is None else state.set_point_c)
        sender_k = -math.log(reading.sender_ohm) * kelvin**2 / _USUAL_BETA_K
        return _Seen(pack=pack, probe_c=reading.probe_c, sender_k=sender_k), None

    def _feed_settling(self, state: SenderCheckState, reading: _Seen | None) -> Event | None:
        set_point_c = state.set_point_c
        if reading is None or set_point_c is None:
            return None
        self._recent.append(reading)
        now_s = reading.pack.rig_time_s
        while now_s - self._recent[0].pack.rig_time_s > SETTLING_WINDOW_S:
            self._recent.popleft()
        self._fed += 1
        if self._fed % _LOOK_EVERY:
            return None
        times = [r.pack.rig_time_s for r in self._recent]
        probe = settling(times, [r.probe_c for r in self._recent])
        sender = settling(times, [r.sender_k for r in self._recent])
        self.status = BathStatus(probe_c=reading.probe_c, probe=probe, sender=sender)
        if not (probe.settled and sender.settled and self._has_arrived(reading.probe_c, set_point_c)):
            return None
        self._window = []
        self._bad = 0
        payload = {
            "set_point_c": set_point_c,
            "boot": reading.pack.boot,
            "seq": reading.pack.seq,
            "probe_slope_k_per_min": probe.slope_k_per_min,
            "sender_slope_k_per_min": sender.slope_k_per_min,
        }
        return Event(kind=Kind.SETTLED, payload=payload)

    def _has_arrived(self, probe_c: float, set_point_c: float) -> bool:
        only_rows = self._setup.curve.judges_only_printed_rows
        return abs(probe_c - set_point_c) <= (_ARRIVAL_AT_A_PRINTED_ROW_K if only_rows else _ARRIVAL_K)

    def _feed_window(self, state: SenderCheckState, pack: ReadingPack, reading: _Seen | None) -> Event | None:
        if reading is None:
            self._bad += 1
        else:
            self._window.append(reading)
        first = self._window[0].pack if self._window else pack
        gone_s = pack.rig_time_s - first.rig_time_s
        self.status = BathStatus(
            probe_c=self.status.probe_c,
            probe=self.status.probe,
            sender=self.status.sender,
            left_s=max(self._hold_s - gone_s, 0.0),
            held_on=self._hold_s > WINDOW_S,
            trouble=self.status.trouble,
        )
        if self._bad > _MOST_BAD_SHARE * self._hold_s * 4:
            return self._given_up(pack, f"too many readings could not be used ({self.status.trouble})")
        if reading is not None and not math.isclose(pack.range_ohm, first.range_ohm):
            return self._given_up(pack, "the ohms range changed")
        if gone_s < self._hold_s or reading is None:
            return None
        if not is_held_long_enough(sender_error(self._plateau(), self._setup)):
            return self._held_on(pack)
        return self._closed(state, pack)

    def _held_on(self, pack: ReadingPack) -> Event | None:
        """The window goes on, while that may help."""
        self._hold_s += HOLD_ON_S
        if self._hold_s <= LONGEST_WINDOW_S:
            return None
        return self._given_up(
            pack,
            f"sender and probe wandered against each other for {LONGEST_WINDOW_S / 60.0:g} minutes; "
            "stir more, and hang them side by side",
        )

    def _plateau(self) -> Plateau:
        packs = [reading.pack for reading in self._window]
        return Plateau(
            sender_count=tuple(raw_count(pack, "sender") for pack in packs),
            probe_count=tuple(raw_count(pack, "probe") for pack in packs),
            sender_range_ohm=packs[0].range_ohm,
            slope_k_per_min=self._slope_k_per_min(),
            air_c=math.nan,  # enters corrections only
        )

    def _slope_k_per_min(self) -> float:
        return slope_k_per_min(
            [reading.pack.rig_time_s for reading in self._window],
            [reading.probe_c for reading in self._window],
        )

    def _closed(self, state: SenderCheckState, pack: ReadingPack) -> Event:
        slope = self._slope_k_per_min()
        if abs(slope) > 2.0 * SLOPE_LIMIT_K_PER_MIN:
            return self._given_up(pack, f"the bath drifted by {slope:+.2f} K/min")
        # The window cites every number it spans; the bad ones among them are left out by their quality.
        citation = Citation(
            station=pack.station, boot=pack.boot, first=self._window[0].pack.seq, last=pack.seq
        )
        self._forget()
        return Event(
            kind=Kind.WINDOW_CLOSED,
            payload={"set_point_c": state.set_point_c, "readings": citation.as_json()},
        )

    def _given_up(self, pack: ReadingPack, reason: str) -> Event:
        self._forget()
        return Event(
            kind=Kind.WINDOW_GIVEN_UP, payload={"reason": reason, "boot": pack.boot, "seq": pack.seq}
        )

    def _forget(self) -> None:
        self._recent.clear()
        self._fed = 0  # a desk that was killed counts from here, too
        self._window = []
        self._hold_s = WINDOW_S
        self._bad = 0
        self.status = BathStatus(probe_c=self.status.probe_c)
