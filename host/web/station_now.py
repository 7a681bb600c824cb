"""One station at this moment, with everything that a page or a live stream says of it."""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from functools import lru_cache
from importlib.metadata import version

from calibration.contract.readings import Insertion, ReadingPack
from calibration.curves import CurveError, ReferenceCurve, curve_from_toml, load_curve
from host.live import StationLive, StationState
from host.reading_time import clock_step_words, reading_time
from host.rig_version import version_words
from host.station_thermometers import StationThermometers, station_thermometers, thermometers_of
from host.web.desk_behind import DeskBehind
from host.web.live_values import LiveValues, live_values_of

# Looked up once: live pages are made anew five times a second.
_OWN_VERSION = version("ohmbath")

_BOX_WITH_THE_SENDER = {
    Insertion.SERIES: "The decade box is in series with the sender",
    Insertion.PARALLEL: "The decade box is across the sender",
}

#: Rig time for which a page speaks of a clock that was set. [s]
CLOCK_STEP_SHOWN_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StationNow:
    """A station as a page shows it.

    Attributes
    ----------
    live : StationLive
        State in words, trouble, newest reading.
    values : LiveValues or None
        Of the newest reading.
    run : int or None
        Number of its open run.
    card_mark : str or None
        Changes when the step card of that run changes.
    zone : tzinfo or None
        Of the clock on the shop's wall; None is the machine's own.
    """

    live: StationLive
    values: LiveValues | None
    run: int | None
    card_mark: str | None
    zone: tzinfo | None = None

    @property
    def station(self) -> str:
        """Its id."""
        return self.live.station

    @property
    def simulated(self) -> bool:
        """True where its silicon is simulated."""
        if self.live.latest is not None:
            return self.live.latest.simulated
        return self.live.presence is not None and self.live.presence.simulated

    @property
    def version_words(self) -> str | None:
        """What to do where its rig is of another version than this desk."""
        presence = self.live.presence
        return None if presence is None else version_words(presence.version, _OWN_VERSION)

    @property
    def time_words(self) -> tuple[str, ...]:
        """When its newest reading was taken, as far as that can be told, and how the rig's clock was set."""
        latest, step = self.live.latest, self.live.clock_step
        if latest is None:
            return ()
        taken = reading_time(latest, self.live.first_synchronised).explained(self.zone)
        if step is None or latest.rig_time_s - step.rig_time_s > CLOCK_STEP_SHOWN_S:
            return (taken,)
        return (taken, clock_step_words(step, rig_time_s=latest.rig_time_s))

    @property
    def box_words(self) -> str:
        """Where the decade box stands in the circuit of the sender; empty where it does not."""
        latest = self.live.latest
        place = None if latest is None else _BOX_WITH_THE_SENDER.get(latest.insertion)
        return "" if latest is None or place is None else f"{place}, set to {latest.decade_ohm:,.0f} Ω"

    @property
    def is_live(self) -> bool:
        """True where its values are of now."""
        return self.live.state is StationState.LIVE

    @property
    def in_trouble(self) -> bool:
        """True where somebody should go and look."""
        return bool(self.live.trouble) or not self.is_live


def thermometers_in_register(desk: DeskBehind, station: str) -> StationThermometers:
    """What tells the temperatures of a station; a live stream asks once, when it begins."""
    return station_thermometers(desk.store, station)


def all_thermometers_in_register(desk: DeskBehind) -> Mapping[str, StationThermometers]:
    """The same of every station of the desk, from one look into the register."""
    return thermometers_of(desk.store, [live.station for live in desk.live.stations()])


def station_now(
    desk: DeskBehind, live: StationLive, thermometers: StationThermometers | None, zone: tzinfo | None
) -> StationNow:
    """Station with the values of its newest reading; touches no database."""
    run = desk.runs.open_run_of(live.station)
    view = None if run is None else desk.runs.view(run)
    curve = None if view is None or view.curve is None else _curve(*view.curve)
    known = thermometers or StationThermometers()
    values = None if live.latest is None else live_values_of(live.latest, thermometers=known, curve=curve)
    return StationNow(
        live=live,
        values=values,
        run=run,
        card_mark=None if view is None else card_mark(view.card),
        zone=zone,
    )


def all_stations_now(desk: DeskBehind, zone: tzinfo | None) -> list[StationNow]:
    """Every station, trouble first, then by name."""
    known = all_thermometers_in_register(desk)
    stations = [station_now(desk, live, known.get(live.station), zone) for live in desk.live.stations()]
    return sorted(stations, key=lambda now: (not now.in_trouble, natural(now.station)))


def natural(name: str) -> list[tuple[bool, int, str]]:
    """Order of names as people count: station-2 before station-10."""
    return [(part.isdigit(), int(part) if part.isdigit() else 0, part) for part in re.split(r"(\d+)", name)]


def chart_point(
    pack: ReadingPack, thermometers: StationThermometers, curve: ReferenceCurve | None
) -> list[float | None]:
    """Reading as the strip chart takes it: rig time, probe, sender shows, sender in ohms. [s, °C, °C, Ω]"""
    values = live_values_of(pack, thermometers=thermometers, curve=curve)
    bath, sender = values.of("probe"), values.of("sender")
    probe_c = bath.temperature_c if bath else None
    indicated_c = sender.temperature_c if sender else None
    ohms = sender.resistance_ohm if sender and not sender.words else None
    return [
        round(pack.rig_time_s, 1),
        None if probe_c is None else round(probe_c, 3),
        None if indicated_c is None else round(indicated_c, 3),
        None if ohms is None else round(ohms, 2),
    ]


def curve_of_open_run(desk: DeskBehind, station: str) -> ReferenceCurve | None:
    """Curve of the open run of a station."""
    run = desk.runs.open_run_of(station)
    if run is None:
        return None
    curve = desk.runs.view(run).curve
    return None if curve is None else _curve(*curve)


def card_mark(card: object) -> str:
    """Short text that is the same for the same card."""
    return f"{zlib.crc32(repr(card).encode('utf-8')):08x}"


@lru_cache(maxsize=64)
def _curve(name: str, text: str) -> ReferenceCurve | None:
    try:
        return curve_from_toml(text, name=name) if text else load_curve(name)
    except CurveError:
        return None  # a run keeps its curve by hash; a page can do without the indicated temperature
