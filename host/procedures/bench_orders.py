"""Brings the bench to where a step wants it, one order at a time, judging by the packs alone."""

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.contract.orders import Action, AnswerState
from calibration.contract.readings import Insertion, ReadingPack
from host.order_book import OrderBook
from host.procedures.bench_setup import DUTY
from host.procedures.ohms.box_setting import BoxSetting
from host.procedures.sender.trials import FULL_DUTY

#: Rig time an order may take to be begun. [s]
_NOT_AFTER_S = 600.0

# Wall time between a refusal and the next try: whoever reads the words should be able to.
_RETRY_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedBench:
    """Where a step wants the bench; a range of None leaves the choice to the rig.

    The duty is the share of the time for which the sender carries current.
    """

    insertion: Insertion = Insertion.NONE
    decade_ohm: float = 0.0
    range_ohm: float | None = None
    duty: float = DUTY

    @classmethod
    def for_box(cls, setting: BoxSetting) -> "WantedBench":
        """Where one setting of an ohms check wants it; the probe has one range only."""
        return cls(
            insertion=setting.insertion,
            decade_ohm=float(setting.setting_ohm),
            range_ohm=setting.range_ohm if setting.insertion is Insertion.SENDER else None,
        )


class BenchOrders:
    """Orders of one run.

    Parameters
    ----------
    book : OrderBook
    station : str
    run : int
    """

    def __init__(self, book: OrderBook, *, station: str, run: int) -> None:
        self._book = book
        self._station = station
        self._run = run
        self._open: tuple[str, str] | None = None  # order, boot
        self._see_from: tuple[str, int] | None = None
        self._retry_at_s = 0.0
        self._range_left_to: str | None = None
        self._open_is_range = False
        self.trouble: str | None = None

    def bring(self, wanted: WantedBench, latest: ReadingPack) -> bool:
        """Send the next order that is missing; True once the packs show what is wanted."""
        self._take_answer(latest)
        if self._open is not None or not self._sees(latest):
            return False
        missing = self._missing(wanted, latest)
        if missing is None:
            return True
        if time.monotonic() >= self._retry_at_s:
            self._send(*missing, latest=latest)
        return False

    def perform(self, do: Action, fields: Mapping[str, Any], latest: ReadingPack) -> str:
        """Send one order of another kind at once; its id."""
        return self._book.send(
            station=self._station,
            boot=latest.boot,
            do=do.value,
            fields=dict(fields),
            run=str(self._run),
            not_after_s=latest.rig_time_s + _NOT_AFTER_S,
        )

    def repeat(self, do: Action, fields: Mapping[str, Any], latest: ReadingPack) -> None:
        """Keep one order of a kind going: the next is sent once the one before has been answered."""
        self._take_answer(latest)
        if self._open is None and time.monotonic() >= self._retry_at_s:
            self._open_is_range = False
            self._open = (self.perform(do, fields, latest), latest.boot)

    def _missing(self, wanted: WantedBench, latest: ReadingPack) -> tuple[Action, dict[str, Any]] | None:
        if latest.insertion is not wanted.insertion:
            return Action.SET_INSERTION, {"insertion": wanted.insertion.value}
        if not math.isclose(latest.decade_ohm, wanted.decade_ohm, abs_tol=1e-9):
            return Action.SET_DECADE, {"resistance_ohm": wanted.decade_ohm}
        if latest.sender_duty is not None and (latest.sender_duty == FULL_DUTY) != (wanted.duty == FULL_DUTY):
            return Action.SET_DUTY, {"duty": wanted.duty}
        if wanted.range_ohm is None:
            left = self._range_left_to == latest.boot
            return None if left else (Action.SET_RANGE, {"range_ohm": None})
        if not math.isclose(latest.range_ohm, wanted.range_ohm):
            return Action.SET_RANGE, {"range_ohm": wanted.range_ohm}
        return None

    def _send(self, do: Action, fields: dict[str, Any], *, latest: ReadingPack) -> None:
        self._open_is_range = do is Action.SET_RANGE and fields["range_ohm"] is None
        if do is Action.SET_RANGE and fields["range_ohm"] is not None:
            self._range_left_to = None
        self._open = (self.perform(do, fields, latest), latest.boot)

    def _take_answer(self, latest: ReadingPack) -> None:
        if self._open is None:
            return
        order, boot = self._open
        if boot != latest.boot:
            self._book.withdraw(order)
            self._open = None
            return
        answer = self._book.answer(order)
        if answer is None:
            return
        self._open = None
        if answer.state is AnswerState.DONE:
            self.trouble = None
            self._see_from = (boot, answer.seq or 0)
            if self._open_is_range:
                self._range_left_to = boot
        else:
            self.trouble = f"The bench did not do as asked: {answer.reason}"
            self._retry_at_s = time.monotonic() + _RETRY_S

    def _sees(self, latest: ReadingPack) -> bool:
        """Tell whether the newest pack was taken wholly after the last effect."""
        if self._see_from is None or self._see_from[0] != latest.boot:
            return True
        return latest.seq >= self._see_from[1]
