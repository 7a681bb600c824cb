"""What stands behind an issued certificate: its run's events and the readings that they cite."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from calibration.contract.readings import ReadingPack
from host.citation import Citation
from host.procedures.event import Event
from host.procedures.logged import events_of
from host.store import Store

ReadingsOf = Callable[[Citation], Sequence[ReadingPack]]


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedRecord:
    """Record behind one certificate, from a store or from an exported folder.

    Attributes
    ----------
    number : str
    run : int
    kind : str
        Kind of the run.
    events : tuple[Event, ...]
        All events of the run, with the register's entries and the curve by value in the first.
    canonical_json : bytes
        Data as issued.
    readings_of : callable
        Cited readings.
    """

    number: str
    run: int
    kind: str
    events: tuple[Event, ...]
    canonical_json: bytes
    readings_of: ReadingsOf


def record_in_store(store: Store, number: str) -> IssuedRecord:
    """Record behind a certificate of this store.

    Raises
    ------
    UnknownCertificateError
        If it was never issued here.
    """
    issued = store.certificates.get(number)
    return IssuedRecord(
        number=number,
        run=issued.run,
        kind=store.runs.get(issued.run).kind,
        events=tuple(events_of(store, issued.run)),
        canonical_json=issued.files.canonical_json,
        readings_of=readings_in(store),
    )


def readings_in(store: Store) -> ReadingsOf:
    """Cited readings of a store."""

    def readings_of(cited: Citation) -> Sequence[ReadingPack]:
        return store.readings(cited.station, cited.boot, cited.first, cited.last)

    return readings_of
