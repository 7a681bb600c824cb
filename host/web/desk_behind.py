"""What the pages ask of the desk behind them."""

from typing import TYPE_CHECKING, Protocol, cast

from flask import Flask, current_app

if TYPE_CHECKING:
    from host.classroom.exercises import Exercises
    from host.live import Live
    from host.procedures.infrared.infrared_settings import InfraredSettings
    from host.procedures.runs_at_work import RunsAtWork
    from host.simulated_bench import SimulatedBench
    from host.simulated_room import SimulatedRoom
    from host.store import Store

_KEY = "ohmbath.desk"


class Hands(Protocol):
    """Hands at a simulated bench."""

    def do(self, run: int) -> None:
        """Do what the step card of a run asks for."""

    def heat(self, station: str, temperature_c: float) -> None:
        """Bring the bath of a station to a temperature. [°C]"""

    def heating_words(self, station: str, temperature_c: float | None) -> str:
        """What was done last to bring a bath there; empty where nothing was. [°C]"""

    def clip_in(self, station: str) -> None:
        """Clip the resistor of a station in where its sender goes."""

    def clip_words(self, station: str) -> str:
        """Where the resistor of a station is; empty where it was not asked for."""

    def shoot(self, settings: "InfraredSettings", probe_c: float, *, shot: int) -> float:
        """What the simulated thermometer shows of the target beside a probe. [°C]"""


class DeskBehind(Protocol):
    """A desk as the pages see it."""

    @property
    def store(self) -> "Store":
        """What is kept."""

    @property
    def live(self) -> "Live":
        """What the stations say right now."""

    @property
    def runs(self) -> "RunsAtWork":
        """Runs, led by the desk."""

    @property
    def exercises(self) -> "Exercises":
        """The classroom's exercises."""

    @property
    def hands(self) -> Hands | None:
        """Hands for simulated stations, None where there are none."""

    @property
    def simulated_bench(self) -> "SimulatedBench | None":
        """Bench that this desk can run for trying it, None where it cannot."""

    @property
    def simulated_room(self) -> "SimulatedRoom | None":
        """Room of stations that this desk can run, None where it cannot."""


def put_desk(app: Flask, desk: DeskBehind) -> None:
    """Give an app its desk."""
    app.extensions[_KEY] = desk


def the_desk() -> DeskBehind:
    """Desk behind the page that is being made."""
    return cast(DeskBehind, current_app.extensions[_KEY])
