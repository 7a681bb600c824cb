"""What a certificate rests on, as one digest each in its link of the chain: the run's events, the readings.

Whoever changes an event or a reading later changes these, and the head of the chain is printed on the next
certificate.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, select

from host.citation import Citation
from host.store import schema
from host.store.kept_reading import KeptReading, digest_of
from host.store.runs import TimedEvent

EVENTS, EVENTS_DIGEST = "events", "events_sha256"
READINGS, READINGS_DIGEST = "readings", "readings_sha256"


def rests_on(connection: Connection, run: int) -> dict[str, Any]:
    """What a link says of the events of a run and the readings that they cite."""
    table = schema.events
    rows = connection.execute(select(table).where(table.c.run == run).order_by(table.c.index)).all()
    events = [
        TimedEvent(kind=row.kind, payload=json.loads(row.payload), appended_utc_s=row.appended_utc_s)
        for row in rows
    ]
    readings = kept_readings(connection, citations_in([event.payload for event in events]))
    return {
        EVENTS: len(events),
        EVENTS_DIGEST: digest_of_events(events),
        READINGS: len(readings),
        READINGS_DIGEST: digest_of(readings),
    }


def differs_from(
    said: Mapping[str, Any], events: Sequence[TimedEvent], readings: Sequence[KeptReading]
) -> str | None:
    """What is not as a link says it was at the time of issue, in words; None where nothing is.

    A link of before, which says nothing of either, is content with anything.
    """
    then = said.get(EVENTS)
    if then is None:
        return None
    if len(events) < then or digest_of_events(events[:then]) != said.get(EVENTS_DIGEST):
        return f"the events of its run: its link in the chain names {then} others"
    now = readings
    if len(events) > then:  # what came later may cite more
        cited = {
            key for one in citations_in([event.payload for event in events[:then]]) for key in _keys(one)
        }
        now = [one for one in readings if (one.station, one.boot, one.seq) in cited]
    if len(now) != said.get(READINGS):
        return f"readings: {said.get(READINGS)} were cited when it was issued, and {len(now)} are here now"
    if digest_of(now) != said.get(READINGS_DIGEST):
        return "readings: what came, or when, is not what its link in the chain names"
    return None


def digest_of_events(events: Iterable[TimedEvent]) -> str:
    """One digest over events in their order."""
    lines = (
        json.dumps(
            [event.kind, dict(event.payload), repr(float(event.appended_utc_s))],
            ensure_ascii=False,
            sort_keys=True,
        )
        for event in events
    )
    return hashlib.sha256("\n".join(lines).encode("utf-8")).hexdigest()


def kept_readings(connection: Connection, cited: Iterable[Citation]) -> list[KeptReading]:
    """Readings of citations, each once, in the order of station, boot and number."""
    table = schema.packs
    found: dict[tuple[str, str, int], KeptReading] = {}
    for one in cited:
        here = (table.c.station == one.station, table.c.boot == one.boot)
        query = select(table).where(*here, table.c.seq.between(one.first, one.last))
        for row in connection.execute(query):
            found[row.station, row.boot, row.seq] = KeptReading(**row._asdict())
    return [found[key] for key in sorted(found)]


def citations_in(values: Iterable[Any]) -> list[Citation]:
    """Every citation of readings anywhere in the payloads of a run, each once."""
    found: dict[tuple[str, str, int, int], Citation] = {}

    def look(value: Any) -> None:
        if isinstance(value, Mapping):
            if {"station", "boot", "from", "to"} <= set(value):
                cited = Citation.from_json(value)
                found[cited.station, cited.boot, cited.first, cited.last] = cited
            for one in value.values():
                look(one)
        elif isinstance(value, list | tuple):
            for one in value:
                look(one)

    look(list(values))
    return list(found.values())


def _keys(cited: Citation) -> Iterable[tuple[str, str, int]]:
    return ((cited.station, cited.boot, seq) for seq in range(cited.first, cited.last + 1))
