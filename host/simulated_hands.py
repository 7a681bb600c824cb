"""Hands for a simulated bench: they do at the bath what a step card asks a person to do."""

import threading
from collections.abc import Callable

from calibration.contract.orders import Action
from host.errors import DeskError
from host.live import Live
from host.order_book import OrderBook
from host.procedures.runs_at_work import RunsAtWork, RunView
from host.procedures.sender_check import Phase
from host.procedures.step_card import Ask, AskKind

_TAP_WATER_C = 22.0
_NOT_AFTER_S = 3600.0


class SimulatedHands:
    """Does asks by orders that only a simulated rig takes.

    Parameters
    ----------
    live : Live
    book : OrderBook
    plant_of : callable
        Fault that sits in the sender fitted for a run, in the rig's own words, or None. The hands pass it
        to the simulated world; nothing on the desk that measures or judges can see it.
    """

    def __init__(self, *, live: Live, book: OrderBook, plant_of: Callable[[int], str | None]) -> None:
        self._live, self._book, self._plant_of = live, book, plant_of
        self._runs: RunsAtWork | None = None
        self._done: set[tuple[int, Ask]] = set()
        self._lock = threading.Lock()

    def serve(self, runs: RunsAtWork) -> None:
        """Learn whose buttons to press."""
        self._runs = runs

    def watch(self, views: tuple[RunView, ...]) -> None:
        """Do every new ask of the open runs at simulated stations."""
        for view in views:
            if view.simulated and view.card.ask is not None and self._is_new(view.run, view.card.ask):
                self._perform(view)

    def do(self, run: int) -> None:
        """Do the ask of one run, again if need be.

        Raises
        ------
        DeskError
            If the station is not simulated, or the run asks for nothing.
        """
        if self._runs is None:
            raise DeskError("There are no simulated hands here.")
        view = self._runs.view(run)
        if not view.simulated:
            raise DeskError("This station is a real bench: its bath needs real hands.")
        if view.card.ask is not None:
            self._is_new(run, view.card.ask)
            self._perform(view)

    def _is_new(self, run: int, ask: Ask) -> bool:
        with self._lock:
            known = (run, ask) in self._done
            self._done.add((run, ask))
            return not known

    def _perform(self, view: RunView) -> None:
        ask = view.card.ask
        if ask is None:
            return
        match ask.kind:
            case AskKind.FIT_SENDER:
                self._order(view, {"do": "heater", "off": True})
                self._order(view, {"do": "fresh_water", "temperature_c": _TAP_WATER_C})
                self._order(view, {"do": "fit_sender", "plant": self._plant_of(view.run)})
                if self._runs is not None and view.state.phase is Phase.FITTING:
                    self._runs.press(view.run)
            case AskKind.HEAT:
                self._order(view, {"do": "heater", "temperature_c": ask.temperature_c})
            case AskKind.HEATER_OFF:
                self._order(view, {"do": "heater", "off": True})

    def _order(self, view: RunView, fields: dict[str, object]) -> None:
        latest = self._live.latest(view.station)
        if latest is None:
            raise DeskError(f"{view.station} has sent no reading yet.")
        self._book.send(
            station=view.station,
            boot=latest.boot,
            do=Action.HANDS.value,
            fields=fields,
            run=str(view.run),
            not_after_s=latest.rig_time_s + _NOT_AFTER_S,
        )
