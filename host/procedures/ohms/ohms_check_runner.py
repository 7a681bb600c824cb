"""Leads one ohms check: orders the decade box about, feeds readings to its watch, appends events.

Everything it knows is in the store, so a desk that is killed goes on where it was.
"""

import logging
from collections.abc import Mapping, Sequence

from calibration.contract.orders import Action
from calibration.contract.readings import Insertion, ReadingPack
from calibration.resistance.ohms_check import OhmsCheckError, RangeCorrection
from host.citation import Citation
from host.live import Live
from host.order_book import OrderBook
from host.procedures.bench_orders import BenchOrders, WantedBench
from host.procedures.bench_setup import box_corrections, decade_box_of
from host.procedures.event import Event
from host.procedures.logged import append_cited, events_of
from host.procedures.ohms.box_watch import BoxWatch
from host.procedures.ohms.channel_found import channels_found
from host.procedures.ohms.ohms_check import Kind, OhmsCheckState, Phase, advance, state_of
from host.procedures.ohms.ohms_check_card import card_of
from host.procedures.pack_cursor import PackCursor
from host.procedures.station_trouble import station_trouble
from host.procedures.step_card import StepCard
from host.store import Store

_log = logging.getLogger(__name__)


class OhmsCheckRunner:
    """One open ohms check.

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
        self._store, self._live = store, live
        events = events_of(store, run)
        self.state: OhmsCheckState = state_of(events)
        self._logged = len(events)
        self.orders = BenchOrders(book, station=self.station, run=run)
        self._watch = BoxWatch()
        self._cursor = PackCursor(store, self.station, self.state.look_from)

    @property
    def station(self) -> str:
        """Station of the run."""
        return self.state.started.station

    @property
    def needs_bench(self) -> bool:
        """Whether nobody else can use the bench meanwhile."""
        return True

    def card(self) -> StepCard:
        """The one next step."""
        return card_of(self.state, trouble=station_trouble(self._live, self.station) or self.orders.trouble)

    def student_card(self) -> StepCard:
        """The same: an ohms check is never a student's."""
        return self.card()

    def bath_slope_k_per_min(self) -> float | None:
        """None: no bath is heated."""
        return None

    def append(self, event: Event) -> None:
        """Append an event: first the state it would lead to, then the store, then here."""
        state = advance(self.state, event)
        self._logged = append_cited(self._store, self.run, event, after=self._logged)
        self.state = state
        _log.info("run %04d: %s", self.run, event.kind)

    def press(self, *, other: bool = False) -> None:
        """Take the press of the card's one button; where there is none nothing happens."""
        latest = self._live.latest(self.station)
        if self.state.phase is Phase.WARMING_UP and latest is not None:
            mark = {"boot": latest.boot, "seq": latest.seq}
            self.append(Event(kind=Kind.WARMED_UP, payload=mark))

    def stop(self, reason: str) -> None:
        """Stop the check for good; one that has passed stays passed."""
        if self.state.is_over:
            return
        if self.state.has_passed:
            self.append(Event(kind=Kind.BOX_TAKEN_OUT))
        else:
            self.append(Event(kind=Kind.STOPPED, payload={"reason": reason}))
        latest = self._live.latest(self.station)
        if latest is not None and latest.insertion is not Insertion.NONE:
            self.orders.perform(Action.SET_INSERTION, {"insertion": Insertion.NONE.value}, latest)

    def work(self) -> None:
        """Do all that can be done with what has come in."""
        latest = self._live.latest(self.station)
        if latest is None or self.state.is_over or self.state.phase is Phase.WARMING_UP:
            return
        is_as_wanted = self.orders.bring(self._wanted(), latest)
        if self.state.phase is Phase.LEAVING:
            if is_as_wanted:
                self.append(Event(kind=Kind.BOX_TAKEN_OUT))
            return
        while (packs := self._cursor.next()) and self.state.phase is Phase.READING:
            for pack in packs:
                self._feed(pack)
            # Which setting is wanted may have changed with what was just read.
            self.orders.bring(self._wanted(), self._live.latest(self.station) or latest)

    def readings_of(self, citation: Citation) -> Sequence[ReadingPack]:
        """Cited readings, from the store."""
        return self._store.readings_of(citation)

    def _feed(self, pack: ReadingPack) -> None:
        if self.state.phase is not Phase.READING:
            return
        event = self._watch.feed(self.state, pack)
        if event is not None:
            self.append(event)
        if self.state.phase is Phase.READING and self.state.next_setting is None:
            self._judge()

    def _judge(self) -> None:
        try:
            corrections = self._corrections()
            found = channels_found(corrections, decade_box_of(self.state.started.decade_box))
        except OhmsCheckError as error:
            self.stop(str(error))
            return
        self.append(Event(kind=Kind.OHMS_CHECKED, payload={"channels": [one.as_json() for one in found]}))

    def _corrections(self) -> Mapping[tuple[Insertion, float], RangeCorrection]:
        state = self.state
        return box_corrections(state.plan, state.box_read, state.started.decade_box, self.readings_of)

    def _wanted(self) -> WantedBench:
        setting = self.state.next_setting
        return WantedBench() if setting is None else WantedBench.for_box(setting)
