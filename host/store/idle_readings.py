"""Readings that no run rests on, and their clearing after a while where the shop wants that.

What is cleared leaves a gap in its place in the same transaction, so that every number up to the watermark
stays accounted for (protocol, rules 8 and 9). Nothing near a run is idle: what its events cite or point at,
everything between, and everything that came while it was open. The pass by which a boot's times are
inferred stays too (rule 6).
"""

import bisect
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, delete, func, select

from host.store import schema
from host.store.engine import Database

#: Stands in the gap where readings were cleared here; a rig never sends it.
NOT_KEPT = "not_kept"
#: A reading that came so shortly before or after a run belongs to it. [s]
AROUND_A_RUN_S = 600.0
_CHUNK = 2000

BootKey = tuple[str, str]
Span = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What is not idle.

    Attributes
    ----------
    numbers : Mapping[tuple[str, str], Sequence[tuple[int, int]]]
        Spans of numbers by (station, boot), in order and apart.
    times : Mapping[str, Sequence[tuple[float, float]]]
        Spans of arrival by station, in order and apart. [s]
    """

    numbers: Mapping[BootKey, Sequence[Span]]
    times: Mapping[str, Sequence[tuple[float, float]]]

    def holds(self, station: str, boot: str, seq: int, received_utc_s: float) -> bool:
        """Tell whether a reading is kept."""
        return _within(self.numbers.get((station, boot), ()), seq) or _within(
            self.times.get(station, ()), received_utc_s
        )


class IdleReadings:
    """Idle readings of a store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def count(self, before_utc_s: float) -> int:
        """How many would be cleared."""
        with self._database.reading() as connection:
            kept = kept_of(connection, before_utc_s)
            return sum(
                1
                for key in _boots(connection)
                for chunk in _chunks(connection, key, before_utc_s)
                for seq, received in chunk
                if not kept.holds(*key, seq, received)
            )

    def clear(self, before_utc_s: float, *, now_utc_s: float) -> int:
        """Clear what came before a time and is idle; how many readings that were.

        A few thousand numbers a transaction, so that readings that come in meanwhile do not wait long. What
        is kept is looked up once: a run that begins meanwhile cites nothing that is days old.
        """
        with self._database.reading() as connection:
            boots, kept = _boots(connection), kept_of(connection, before_utc_s)
        return sum(self._clear_boot(key, kept, before_utc_s, now_utc_s) for key in boots)

    def _clear_boot(self, key: BootKey, kept: Kept, before_utc_s: float, now_utc_s: float) -> int:
        cleared, above = 0, 0
        while True:
            with self._database.writing() as connection:
                rows = _next_chunk(connection, key, before_utc_s, above)
                if not rows:
                    return cleared
                idle = [seq for seq, received in rows if not kept.holds(*key, seq, received)]
                for span in spans_of(idle):
                    _put_gap(connection, key, span, now_utc_s)
                cleared += len(idle)
                above = rows[-1][0]


def kept_of(connection: Connection, before_utc_s: float) -> Kept:
    """What the runs of a store keep."""
    numbers: dict[BootKey, list[Span]] = {}
    times: dict[str, list[tuple[float, float]]] = {}
    for run in connection.execute(select(schema.runs)):
        events = connection.scalars(select(schema.events.c.payload).where(schema.events.c.run == run.run))
        pointed = points_in([json.loads(run.settings), *map(json.loads, events)], run.station)
        for key, span in pointed.items():
            numbers.setdefault(key, []).append(span)
        if run.station is not None:
            ended = max(before_utc_s, run.started_utc_s) if run.ended_utc_s is None else run.ended_utc_s
            span_s = (run.started_utc_s - AROUND_A_RUN_S, ended + AROUND_A_RUN_S)
            times.setdefault(run.station, []).append(span_s)
    for row in connection.execute(_FIRST_SYNCHRONISED):
        numbers.setdefault((row.station, row.boot), []).append((row.seq, row.seq))
    return Kept(
        numbers={key: _apart(spans) for key, spans in numbers.items()},
        times={station: _apart(spans) for station, spans in times.items()},
    )


def points_in(values: Iterable[Any], station: str | None) -> dict[BootKey, Span]:
    """First and last number that the payloads of one run cite or point at, by (station, boot)."""
    found: dict[BootKey, Span] = {}

    def see(key: BootKey, first: int, last: int) -> None:
        low, high = found.get(key, (first, last))
        found[key] = (min(low, first), max(high, last))

    def look(value: Any) -> None:
        if isinstance(value, Mapping):
            boot, place = value.get("boot"), value.get("station", station)
            if isinstance(boot, str) and isinstance(place, str):
                if "from" in value and "to" in value:
                    see((place, boot), int(value["from"]), int(value["to"]))
                elif isinstance(value.get("first"), int) and isinstance(value.get("last"), int):
                    see((place, boot), value["first"], value["last"])
                elif isinstance(value.get("seq"), int):
                    see((place, boot), value["seq"], value["seq"])
            for one in value.values():
                look(one)
        elif isinstance(value, list):
            for one in value:
                look(one)

    look(list(values))
    return found


def spans_of(numbers: Iterable[int]) -> list[Span]:
    """Numbers, in order, as spans without a hole."""
    spans: list[Span] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], number)
        else:
            spans.append((number, number))
    return spans


_FIRST_SYNCHRONISED = (
    select(schema.packs.c.station, schema.packs.c.boot, func.min(schema.packs.c.seq).label("seq"))
    .where(schema.packs.c.utc_s.is_not(None))
    .group_by(schema.packs.c.station, schema.packs.c.boot)
)


def _boots(connection: Connection) -> list[BootKey]:
    table = schema.watermarks
    rows = connection.execute(select(table.c.station, table.c.boot).order_by(table.c.station, table.c.boot))
    return [(row.station, row.boot) for row in rows]


def _next_chunk(
    connection: Connection, key: BootKey, before_utc_s: float, above: int
) -> list[tuple[int, float]]:
    """Numbers above one, up to the watermark, that came before a time, with when they came."""
    packs, marks = schema.packs, schema.watermarks
    station, boot = key
    query = (
        select(packs.c.seq, packs.c.received_utc_s)
        .join(marks, and_(marks.c.station == packs.c.station, marks.c.boot == packs.c.boot))
        .where(packs.c.station == station, packs.c.boot == boot, packs.c.seq > above)
        .where(packs.c.seq <= marks.c.w, packs.c.received_utc_s < before_utc_s)
        .order_by(packs.c.seq)
        .limit(_CHUNK)
    )
    return [(int(row.seq), float(row.received_utc_s)) for row in connection.execute(query)]


def _chunks(connection: Connection, key: BootKey, before_utc_s: float) -> Iterator[list[tuple[int, float]]]:
    above = 0
    while rows := _next_chunk(connection, key, before_utc_s, above):
        yield rows
        above = rows[-1][0]


def _put_gap(connection: Connection, key: BootKey, span: Span, at_utc_s: float) -> None:
    packs, gaps = schema.packs, schema.gaps
    (station, boot), (first, last) = key, span
    here = and_(packs.c.station == station, packs.c.boot == boot, packs.c.seq.between(first, last))
    rig = connection.execute(select(packs.c.rig).where(here).limit(1)).scalar_one()
    same = and_(gaps.c.station == station, gaps.c.boot == boot, gaps.c.first == first, gaps.c.last == last)
    if not connection.execute(select(func.count()).select_from(gaps).where(same)).scalar_one():
        connection.execute(
            gaps.insert().values(
                station=station,
                boot=boot,
                first=first,
                last=last,
                rig=rig,
                reason=NOT_KEPT,
                received_utc_s=at_utc_s,
            )
        )
    connection.execute(delete(packs).where(here))


def _apart(spans: Iterable[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    joined: list[tuple[Any, Any]] = []
    for first, last in sorted(spans):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _within(spans: Sequence[tuple[Any, Any]], value: float) -> bool:
    at = bisect.bisect_right(spans, (value, float("inf"))) - 1
    return at >= 0 and spans[at][0] <= value <= spans[at][1]
