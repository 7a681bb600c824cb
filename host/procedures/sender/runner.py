"""Leads one sender check: feeds readings to the watches, appends events, orders the bench about.

Everything it knows is in the store, so a desk that is killed goes on where it was.
"""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from calibration.contract.orders import LONGEST_BURST_S, Action
from calibration.contract.readings import Insertion, ReadingPack
from calibration.resistance.ohms_check import OhmsCheckError, RangeCorrection
from host.citation import Citation
from host.classroom.exercise_log import planted_box_of
from host.classroom.planted_box import APART, Sight
from host.live import Live
from host.order_book import OrderBook
from host.procedures.bench_orders import BenchOrders, WantedBench
from host.procedures.bench_setup import DUTY, bench_setup_of, box_corrections, decade_box_of
from host.procedures.event import Event
from host.procedures.logged import append_cited, events_of
from host.procedures.ohms.box_watch import BoxWatch
from host.procedures.ohms.channel_found import channels_found
from host.procedures.pack_cursor import PackCursor
from host.procedures.sender.burst_watch import BurstWatch
from host.procedures.sender.loop_watch import LoopStatus, LoopWatch
from host.procedures.sender.plateau_watch import BathStatus, PlateauWatch
from host.procedures.sender.sender_check import Kind, advance, state_of
from host.procedures.sender.sender_check_card import card_of
from host.procedures.sender.sender_check_press import pressed
from host.procedures.sender.sender_check_state import Phase, SenderCheckState
from host.procedures.sender.trial_watch import TrialWatch
from host.procedures.sender.trials import FULL_DUTY
from host.procedures.station_trouble import station_trouble
from host.procedures.step_card import StepCard
from host.store import Store

_log = logging.getLogger(__name__)

_FOR_A_STUDENT = "The bench does not do as it should: fetch your instructor."


class SenderCheckRunner:
    """One open sender check.

    Parameters
    ----------
    run : int
        Its number.
    store : Store
    live : Live
    book : OrderBook
    """

    def __init__(self, run: int, *, store: Store, live: Live, book: OrderBook) -> None:
        self.run = run
        self._store = store
        self._live = live
        events = events_of(store, run)
        self.state: SenderCheckState = state_of(events)
        self._logged = len(events)
        #: What the fault of an exercise is, where the decade box stands in for one.
        self._box = planted_box_of(store, self.state.started.exercise)
        #: An exercise begins with relays that move whatever was planted.
        self._is_set_apart = self.state.started.exercise is None
        self.orders = BenchOrders(book, station=self.station, run=run)
        #: Why its certificate cannot be let out; empty where nothing stands in the way.
        self.held_up_by = ""
        self._box_watch = BoxWatch()
        self._plateau_watch: PlateauWatch | None = None
        self._loop_watch: LoopWatch | None = None
        self._trial_watch: TrialWatch | None = None
        self._burst_watch = BurstWatch()
        self._cursor = PackCursor(store, self.station, self.state.opened_at or self.state.look_from)

    @property
    def station(self) -> str:
        """Station of the run."""
        return self.state.started.station

    @property
    def needs_bench(self) -> bool:
        """Whether nobody else can use the bench meanwhile; where only words are missing, it is free."""
        return self.state.phase is not Phase.CHOOSING and not self.held_up_by

    def card(self) -> StepCard:
        """The one next step."""
        return self._card(self._trouble())

    def student_card(self) -> StepCard:
        """The same for a student: of the bench's trouble it says that there is some, not what was ordered."""
        return self._card(None if self._trouble() is None else _FOR_A_STUDENT)

    def bath_slope_k_per_min(self) -> float | None:
        """How fast the bath warms just now, None where it cannot be told. [K/min]"""
        probe = self._bath().probe
        return probe.slope_k_per_min if probe is not None and probe.full else None

    def append(self, event: Event) -> None:
        """Append an event: first the state it would lead to, then the store, then here."""
        state = advance(self.state, event)
        self._logged = append_cited(self._store, self.run, event, after=self._logged)
        self.state = state
        if state.is_over:
            self._take_full_current_away()
            self._take_box_away()
        _log.info("run %04d: %s", self.run, event.kind)

    def press(self, *, other: bool = False) -> None:
        """Take the press of the card's one button, or of its second; where there is none nothing happens."""
        self.held_up_by = ""  # a press of a run that is held up tries once more
        latest = self._live.latest(self.station)
        mark: dict[str, Any] = {} if latest is None else {"boot": latest.boot, "seq": latest.seq}
        event = pressed(self.state, mark, other=other)
        if event is not None:
            self.append(event)

    def stop(self, reason: str) -> None:
        """Stop the run for good."""
        if not self.state.is_over:
            self.append(Event(kind=Kind.STOPPED, payload={"reason": reason}))

    def work(self) -> None:
        """Do all that can be done with what has come in."""
        latest = self._live.latest(self.station)
        if latest is None or self.state.is_over or not self.needs_bench:
            return  # the bench is free for the next sender
        self._bring(latest)
        if self.state.is_moving:
            self.orders.repeat(Action.BURST, {"duration_s": LONGEST_BURST_S}, latest)
        while (packs := self._cursor.next()) and not self.state.is_over:
            for pack in packs:
                self._feed(self._seen(pack))
            # What a setting or a step wants may have changed with what was just read.
            self._bring(self._live.latest(self.station) or latest)

    def _bring(self, latest: ReadingPack) -> None:
        """Order what is missing of where the bench should stand, by way of a place apart in an exercise."""
        if self._is_set_apart or self.state.phase is not Phase.FITTING:
            self.orders.bring(self._wanted(), latest)
        else:
            apart = replace(self._wanted(), insertion=APART)
            self._is_set_apart = self.orders.bring(apart, latest)

    def readings_of(self, citation: Citation) -> Sequence[ReadingPack]:
        """Cited readings, from the store."""
        return [self._seen(pack) for pack in self._store.readings_of(citation)]

    def _feed(self, pack: ReadingPack) -> None:
        event: Event | None = None
        if self.state.phase is Phase.OHMS_CHECK:
            event = self._box_watch.feed(self.state, pack)
        elif self.state.phase is Phase.PLATEAUS:
            event = self._plateaus().feed(self.state, pack)
        elif self.state.phase is Phase.LOOP:
            event = self._loop().feed(self.state, pack)
        elif self.state.phase is Phase.TRIALS:
            event = self._trials().feed(self.state, pack)
        elif self.state.is_moving:
            event = self._burst_watch.feed(pack)
        if event is not None:
            self.append(event)
        if self.state.phase is Phase.OHMS_CHECK and self.state.next_setting is None:
            self._end_ohms_check()

    def _plateaus(self) -> PlateauWatch:
        if self._plateau_watch is None:
            self._plateau_watch = PlateauWatch(bench_setup_of(self.state, self.readings_of))
        return self._plateau_watch

    def _loop(self) -> LoopWatch:
        if self._loop_watch is None:
            self._loop_watch = LoopWatch(bench_setup_of(self.state, self.readings_of))
        return self._loop_watch

    def _trials(self) -> TrialWatch:
        if self._trial_watch is None:
            setup = bench_setup_of(self.state, self.readings_of)
            self._trial_watch = TrialWatch(setup, self.readings_of)
        return self._trial_watch

    def _bath(self) -> BathStatus:
        """What the bench sees just now."""
        if self.state.phase is Phase.TRIALS and self._trial_watch is not None:
            return self._trial_watch.status
        return self._plateau_watch.status if self._plateau_watch is not None else BathStatus()

    def _take_full_current_away(self) -> None:
        """A run that ends while the sender carries current all the time leaves nothing on."""
        latest = self._live.latest(self.station)
        if latest is not None and latest.sender_duty == FULL_DUTY:
            self.orders.perform(Action.SET_DUTY, {"duty": DUTY}, latest)

    def _seen(self, pack: ReadingPack) -> ReadingPack:
        """A reading as this run takes it: in an exercise the decade box may be a part of the sender."""
        if self.state.started.exercise is None:
            return pack
        return Sight(box=self._box, heated_from=self.state.heated_from).of(pack)

    def _take_box_away(self) -> None:
        """An exercise leaves no planted fault in the circuit; where there is none, as many relays move."""
        latest = self._live.latest(self.station)
        if self.state.started.exercise is not None and latest is not None:
            for place in (APART, Insertion.NONE):
                self.orders.perform(Action.SET_INSERTION, {"insertion": place.value}, latest)

    def _card(self, trouble: str | None) -> StepCard:
        loop = LoopStatus() if self._loop_watch is None else self._loop_watch.status
        return card_of(
            self.state,
            self._bath(),
            loop=loop,
            bursts=self._burst_watch.count,
            trouble=trouble,
            held_up_by=self.held_up_by,
        )

    def _end_ohms_check(self) -> None:
        try:
            corrections = self._corrections()
            found = channels_found(corrections, decade_box_of(self.state.started.decade_box))
        except OhmsCheckError as error:
            self.append(Event(kind=Kind.STOPPED, payload={"reason": str(error)}))
            return
        remainders = {
            f"{insertion.value} {range_ohm:g} Ω": round(correction.remainder_count, 3)
            for (insertion, range_ohm), correction in corrections.items()
        }
        channels = [one.as_json() for one in found]
        self.append(
            Event(kind=Kind.OHMS_CHECKED, payload={"remainder_count": remainders, "channels": channels})
        )

    def _corrections(self) -> Mapping[tuple[Insertion, float], RangeCorrection]:
        state = self.state
        return box_corrections(state.plan, state.box_read, state.started.decade_box, self.readings_of)

    def _wanted(self) -> WantedBench:
        setting = self.state.next_setting if self.state.phase is Phase.OHMS_CHECK else None
        if setting is None:
            duty = FULL_DUTY if self.state.wants_full_current else DUTY
            if self._box is None:
                return WantedBench(duty=duty)
            return WantedBench(insertion=self._box.insertion, decade_ohm=self._box.decade_ohm, duty=duty)
        return WantedBench.for_box(setting)

    def _trouble(self) -> str | None:
        return station_trouble(self._live, self.station) or self.orders.trouble
