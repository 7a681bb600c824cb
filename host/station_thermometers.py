"""What tells a station's temperatures, from the register: its probe, and its witness with its corrections."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Self

from calibration.reference_probe import ReferenceProbe
from host.local_time import local_day
from host.procedures.bench_setup import probe_of
from host.store import Store
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_standing import InstrumentStanding, in_use
from host.witnesses import CertifiedWitness


@dataclass(frozen=True, slots=True, kw_only=True)
class StationThermometers:
    """Thermometers of one station; None for each that the register does not hold, or that may not serve.

    Attributes
    ----------
    probe : ReferenceProbe or None
    one_wire, infrared : CertifiedWitness or None
        None speaks as bought.
    """

    probe: ReferenceProbe | None = None
    one_wire: CertifiedWitness | None = None
    infrared: CertifiedWitness | None = None


def station_thermometers(store: Store, station: str) -> StationThermometers:
    """Those of one station; a live stream asks once, when it begins."""
    return thermometers_of(store, (station,))[station]


def thermometers_of(store: Store, stations: Sequence[str]) -> Mapping[str, StationThermometers]:
    """Those of some stations, from one look into the register."""
    known = _Known.of(store)
    return {
        station: StationThermometers(
            probe=known.probe(station),
            one_wire=CertifiedWitness.of(known.witness(InstrumentKind.WITNESS, station)),
            infrared=CertifiedWitness.of(known.witness(InstrumentKind.RIG_INFRARED, station)),
        )
        for station in stations
    }


def witness_content(store: Store, kind: InstrumentKind, station: str) -> Mapping[str, Any]:
    """Register entry of the witness that is kept at a station; empty where none may serve.

    One that is kept at no station is nobody's: it may hang elsewhere, or be one that is read by hand.
    """
    return _Known.of(store).witness(kind, station)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """What the register holds today."""

    standings: Sequence[InstrumentStanding]
    today: date
    months_by_kind: Mapping[str, int]

    @classmethod
    def of(cls, store: Store) -> Self:
        settings = store.settings.read()
        return cls(
            standings=store.register.standings(),
            today=local_day(store.now(), settings.zone),
            months_by_kind=settings.recalibration_months,
        )

    def witness(self, kind: InstrumentKind, station: str) -> Mapping[str, Any]:
        standing = in_use([one for one in self.standings if one.station == station], kind, station=station)
        if standing is None or standing.refusal(self.today, self.months_by_kind) is not None:
            return {}
        return standing.in_force.content

    def probe(self, station: str) -> ReferenceProbe | None:
        standing = in_use(self.standings, InstrumentKind.PROBE, station=station)
        return None if standing is None else probe_of(standing.in_force.content)
