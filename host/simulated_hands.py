"""Hands for a simulated bench: they do at the bath what a step card asks a person to do."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from calibration.contract.orders import Action, AnswerState
from calibration.contract.readings import ReadingPack
from host.errors import DeskError
from host.live import Live
from host.order_book import OrderBook
from host.procedures.infrared.infrared_settings import InfraredSettings
from host.procedures.runs_at_work import RunsAtWork, RunView
from host.procedures.step_card import Ask, AskKind
from host.simulated_thermometer import USED_THERMOMETER, SimulatedThermometer

_TAP_WATER_C = 22.0
_NOT_AFTER_S = 3600.0
#: A bath that is hotter than wanted by more than this is filled anew: it cools by half a kelvin a minute.
_HOTTER_K = 2.0
#: What the simulated heater does to the simulated jug, losses off; then it settles. [K/min], [min]
_WARMS_K_PER_MIN, _SETTLES_MIN = 7.0, 3.0


@dataclass(slots=True)
class _Work:
    """Orders that one ask was turned into, and the boot they were meant for."""

    boot: str
    orders: list[str] = field(default_factory=list)


class SimulatedHands:
    """Does asks by orders that only a simulated rig takes.

    Parameters
    ----------
    live : Live
    book : OrderBook
    plant_of : callable
        Fault that sits in the sender fitted for a run, in the rig's own words, or None. The hands pass it
        to the simulated world; nothing on the desk that measures or judges can see it.
    thermometer : SimulatedThermometer
        What they shoot with; of its faults the desk learns by what it shows.
    clips_of : callable
        Fault of the clips with which a station holds a plain resistor, in the rig's own words, or None.
    """

    def __init__(
        self,
        *,
        live: Live,
        book: OrderBook,
        plant_of: Callable[[int], str | None],
        thermometer: SimulatedThermometer = USED_THERMOMETER,
        clips_of: Callable[[str], str | None] = lambda station: None,
    ) -> None:
        self._live, self._book, self._plant_of = live, book, plant_of
        self._thermometer = thermometer
        self._runs: RunsAtWork | None = None
        self._clips_of = clips_of
        self._clipped_in: dict[str, tuple[str, str]] = {}  # order and boot by station
        self._heated: dict[str, tuple[float, str]] = {}  # asked for [°C], and words, by station
        self._work: dict[tuple[int, Ask], _Work] = {}
        self._lock = threading.RLock()

    def serve(self, runs: RunsAtWork) -> None:
        """Learn whose buttons to press."""
        self._runs = runs

    def watch(self, views: tuple[RunView, ...]) -> None:
        """Do every new ask of the open runs at simulated stations, and again what came to nothing."""
        for view in views:
            if view.simulated and view.card.ask is not None and self._is_to_do(view, view.card.ask):
                self._perform(view, view.card.ask)

    def do(self, run: int) -> None:
        """Do the ask of one run, again if need be.

        Raises
        ------
        DeskError
            If the station is not simulated, or nothing has been heard of it.
        """
        if self._runs is None:
            raise DeskError("There are no simulated hands here.")
        view = self._runs.view(run)
        if not view.simulated:
            raise DeskError("This station is a real bench: its bath needs real hands.")
        if view.card.ask is not None:
            self._perform(view, view.card.ask)

    def heat(self, station: str, temperature_c: float) -> None:
        """Bring the bath of a simulated station to a temperature, with fresh water where it is hotter. [°C]

        Raises
        ------
        DeskError
            If the station is not simulated, or nothing has been heard of it.
        """
        bath_c = self._bath_c(station)
        poured = bath_c is not None and bath_c > temperature_c + _HOTTER_K and temperature_c > _TAP_WATER_C
        if poured:
            self._order(station, {"do": "heater", "off": True})
            self._order(station, {"do": "fresh_water", "temperature_c": _TAP_WATER_C})
        self._order(station, {"do": "heater", "temperature_c": temperature_c})
        with self._lock:
            words = _heating_words(_TAP_WATER_C if poured else bath_c, temperature_c, poured)
            self._heated[station] = temperature_c, words

    def heating_words(self, station: str, temperature_c: float | None) -> str:
        """What was done last to bring a bath there, and how long that takes; empty where nothing was. [°C]"""
        with self._lock:
            asked_c, words = self._heated.get(station, (None, ""))
        return words if asked_c == temperature_c else ""

    def _bath_c(self, station: str) -> float | None:
        """What the witness says of the bath; None where it says nothing. [°C]"""
        latest = self._live.latest(station)
        return None if latest is None else latest.good_value("witness")

    def clip_in(self, station: str) -> None:
        """Clip the resistor of a simulated station in where its sender goes.

        Raises
        ------
        DeskError
            If the station is not simulated, or nothing has been heard of it.
        """
        latest = self._live.latest(station)
        order = self._order(station, {"do": "fit_artefact", "plant": self._clips_of(station)})
        with self._lock:
            self._clipped_in[station] = order, "" if latest is None else latest.boot

    def of_the_resistor(self, packs: Sequence[ReadingPack]) -> Sequence[ReadingPack]:
        """Readings taken wholly since the resistor was clipped in; all where hands have clipped none in.

        Raises
        ------
        DeskError
            If it is being clipped in, or was not.
        """
        station = packs[-1].station if packs else ""
        with self._lock:
            order, boot = self._clipped_in.get(station, ("", ""))
        if not order:
            return packs
        answer = self._book.answer(order)
        if answer is None or answer.seq is None:
            raise DeskError(
                f"The resistor of {station} is {self.clip_words(station)}: wait, then read again."
            )
        since = [pack for pack in packs if pack.boot != boot or pack.seq >= answer.seq]
        if not since:
            raise DeskError(f"The resistor of {station} is clipped in only just now: wait, then read again.")
        return since

    def clip_words(self, station: str) -> str:
        """Where the resistor of a station is; empty where it was not asked for."""
        with self._lock:
            order, _ = self._clipped_in.get(station, ("", ""))
        if not order:
            return ""
        answer = self._book.answer(order)
        if answer is None:
            return "being clipped in"
        return "clipped in" if answer.state is AnswerState.DONE else f"not clipped in: {answer.reason}"

    def _order(self, station: str, fields: dict[str, object]) -> str:
        latest = self._live.latest(station)
        if latest is None or not latest.simulated:
            raise DeskError(f"{station} is no simulated station that is heard: its bath needs real hands.")
        return self._book.send(
            station=station,
            boot=latest.boot,
            do=Action.HANDS.value,
            fields=fields,
            run="",
            not_after_s=latest.rig_time_s + _NOT_AFTER_S,
        )

    def shoot(self, settings: InfraredSettings, probe_c: float, *, shot: int) -> float:
        """What the simulated thermometer shows of the target beside a probe. [°C]"""
        return self._thermometer.shows_c(settings, probe_c, shot=shot)

    def _is_to_do(self, view: RunView, ask: Ask) -> bool:
        """Tell whether an ask is new, or its orders died with a rig, or were not done."""
        with self._lock:
            work = self._work.get((view.run, ask))
        latest = self._live.latest(view.station)
        if work is None or latest is None:
            return work is None and latest is not None
        answers = [self._book.answer(order) for order in work.orders]
        if any(answer is not None and answer.state is not AnswerState.DONE for answer in answers):
            return True
        return work.boot != latest.boot and any(answer is None for answer in answers)

    def _perform(self, view: RunView, ask: Ask) -> None:
        latest = self._live.latest(view.station)
        if latest is None:
            raise DeskError(f"{view.station} has sent no reading yet.")
        work = _Work(boot=latest.boot)
        for fields in self._deeds(view.run, ask):
            order = self._book.send(
                station=view.station,
                boot=latest.boot,
                do=Action.HANDS.value,
                fields=fields,
                run=str(view.run),
                not_after_s=latest.rig_time_s + _NOT_AFTER_S,
            )
            work.orders.append(order)
        with self._lock:
            self._work[view.run, ask] = work
            if ask.kind is AskKind.FIT_SENDER:
                self._clipped_in.pop(view.station, None)
        if self._runs is not None and view.card.button is not None:
            if self._runs.view(view.run).card == view.card:  # nobody pressed meanwhile
                self._runs.press(view.run)

    def _deeds(self, run: int, ask: Ask) -> tuple[dict[str, object], ...]:
        match ask.kind:
            case AskKind.FIT_SENDER:
                return (
                    {"do": "heater", "off": True},
                    {"do": "fresh_water", "temperature_c": _TAP_WATER_C},
                    {"do": "fit_sender", "plant": self._plant_of(run)},
                )
            case AskKind.HEAT:
                return ({"do": "heater", "temperature_c": ask.temperature_c},)
            case AskKind.DRAW_OUT:
                return _with_heater_off({"do": "draw_out", "by_mm": ask.by_mm}, ask)
            case AskKind.CHANGE_PLACES:
                return _with_heater_off({"do": "places", "changed": True}, ask)
            case AskKind.HEATER_OFF | AskKind.MOVE_CONNECTOR:
                return ({"do": "heater", "off": True},)
            case AskKind.LOOK:
                return ()


def _heating_words(bath_c: float | None, temperature_c: float, poured: bool) -> str:
    did = "poured in fresh water and set" if poured else "set"
    if bath_c is None:
        return f"The simulated hands {did} the heater to {round(temperature_c, 2):g} °C."
    minutes = max(temperature_c - bath_c, 0.0) / _WARMS_K_PER_MIN + _SETTLES_MIN
    return (
        f"The simulated hands {did} the heater to {round(temperature_c, 2):g} °C. From {bath_c:.0f} °C this "
        f"takes about {minutes:.0f} minutes of the bench's own time; wait until it stands still."
    )


def _with_heater_off(deed: dict[str, object], ask: Ask) -> tuple[dict[str, object], ...]:
    """A deed at the hot jug: heater off, the deed, heater on again."""
    return (
        {"do": "heater", "off": True},
        deed,
        {"do": "heater", "temperature_c": ask.temperature_c},
    )
