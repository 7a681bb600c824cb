"""Readings as a table: one pass a row, raw counts and quality words beside the values."""

from collections.abc import Iterable, Iterator
from datetime import tzinfo
from typing import Any

from calibration.contract.readings import CHANNEL_UNITS, ReadingPack
from host.citation import Citation
from host.procedures.logged import events_of
from host.reading_time import reading_time
from host.store import Store
from host.store.rests_on import citations_in
from host.tables.table import Column, Table, iso_time

_CHUNK = 1000
_UNITS = {"Ohm": ("ohm", "Ω"), "Cel": ("c", "°C")}


def readings_table(store: Store, cited: Iterable[Citation]) -> Table:
    """Table of readings, in the order in which they are cited."""
    zone = store.settings.read().zone
    return Table(name="readings", columns=_columns(), rows=_rows(store, cited, zone))


def readings_of_run(store: Store, run: int) -> list[Citation]:
    """What a run cites, each reading once.

    Raises
    ------
    UnknownRunError
        If there is no such run.
    """
    store.runs.get(run)
    spans: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for one in citations_in([event.payload for event in events_of(store, run)]):
        spans.setdefault((one.station, one.boot), []).append((one.first, one.last))
    return [
        Citation(station=station, boot=boot, first=first, last=last)
        for (station, boot), some in sorted(spans.items())
        for first, last in _apart(some)
    ]


def readings_of_station(store: Store, station: str) -> list[Citation]:
    """All that is stored of a station, the oldest boot first."""
    return [
        Citation(station=station, boot=boot, first=1, last=w)
        for boot, w in sorted(store.packs.watermarks(station).items())
    ]


def _apart(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans that share no number."""
    joined: list[tuple[int, int]] = []
    for first, last in sorted(spans):
        if joined and first <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _columns() -> list[Column]:
    columns = [
        Column(name="station"),
        Column(name="boot"),
        Column(name="seq"),
        Column(name="time"),
        Column(name="time_is_inferred"),
        Column(name="rig_time_s", unit="s"),
        Column(name="simulated"),
        Column(name="decade_ohm", unit="Ω"),
        Column(name="insertion"),
        Column(name="range_ohm", unit="Ω"),
    ]
    for channel, unit in CHANNEL_UNITS.items():
        suffix, sign = _UNITS[unit]
        columns += [
            Column(name=f"{channel}_{suffix}", unit=sign),
            Column(name=f"{channel}_raw", unit="count"),
            Column(name=f"{channel}_quality"),
            Column(name=f"{channel}_reason"),
        ]
    return columns


def _rows(store: Store, cited: Iterable[Citation], zone: tzinfo | None) -> Iterator[list[Any]]:
    for one in cited:
        synchronised = store.packs.first_synchronised(one.station, one.boot)
        for first in range(one.first, one.last + 1, _CHUNK):
            last = min(one.last, first + _CHUNK - 1)
            for pack in store.readings(one.station, one.boot, first, last):
                yield _row(pack, synchronised, zone)


def _row(pack: ReadingPack, synchronised: tuple[float, float] | None, zone: tzinfo | None) -> list[Any]:
    taken = reading_time(pack, synchronised)
    row: list[Any] = [
        pack.station,
        pack.boot,
        pack.seq,
        iso_time(taken.utc_s, zone),
        taken.inferred,
        pack.rig_time_s,
        pack.simulated,
        pack.decade_ohm,
        pack.insertion.value,
        pack.range_ohm,
    ]
    for name in CHANNEL_UNITS:
        channel = pack.channels.get(name)
        row += (
            [None] * 4
            if channel is None
            else [channel.value, channel.raw, channel.quality.value, channel.reason]
        )
    return row
