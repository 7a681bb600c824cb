"""What stands behind an issued certificate: its run's events and the readings that they cite."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from host.procedures.bench_setup import ReadingsOf
from host.procedures.event import Event
from host.store import Store
from host.store.kept_reading import KeptReading
from host.store.rests_on import citations_in
from host.store.runs import TimedEvent


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedRecord:
    """Record behind one certificate, from a store or from an exported folder.

    Attributes
    ----------
    number : str
    run : int
    kind : str
        Kind of the run.
    timed_events : tuple[TimedEvent, ...]
        All events of the run, with the register's entries and the curve by value in the first.
    canonical_json : bytes
        Data as issued.
    kept : tuple[KeptReading, ...]
        Cited readings as they are kept.
    link : Mapping[str, Any]
        What the link says by which the certificate came into its chain.
    readings_of : callable
        Cited readings.
    """

    number: str
    run: int
    kind: str
    timed_events: tuple[TimedEvent, ...]
    canonical_json: bytes
    kept: tuple[KeptReading, ...]
    link: Mapping[str, Any]
    readings_of: ReadingsOf

    @property
    def events(self) -> tuple[Event, ...]:
        """All events of the run."""
        return tuple(Event(kind=one.kind, payload=one.payload) for one in self.timed_events)


def record_in_store(store: Store, number: str) -> IssuedRecord:
    """Record behind a certificate of this store.

    Raises
    ------
    UnknownCertificateError
        If it was never issued here.
    """
    issued = store.certificates.get(number)
    events = tuple(store.runs.timed_events(issued.run))
    links = store.chain.of_certificate(number)
    return IssuedRecord(
        number=number,
        run=issued.run,
        kind=store.runs.get(issued.run).kind,
        timed_events=events,
        canonical_json=issued.files.canonical_json,
        kept=tuple(store.packs.kept(citations_in([event.payload for event in events]))),
        link=links[0].said if links else {},
        readings_of=store.readings_of,
    )


def not_as_it_came(run: int, kept: Sequence[KeptReading]) -> str | None:
    """First reading beside which something stands that its message does not say; None where there is none."""
    for one in kept:
        words = one.disagreement()
        if words is not None:
            return f"reading {one.seq} of run {run:04d} ({one.station}, boot {one.boot}): {words}"
    return None
