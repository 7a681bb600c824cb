"""The register as a table: one certificate of an instrument a row."""

from collections.abc import Iterator
from typing import Any

from host.store import Store
from host.tables.table import Column, Table, iso_time

_COLUMNS = (
    "entry",
    "kind",
    "serial",
    "certificate",
    "issuer",
    "issued",
    "due",
    "added",
    "simulated",
    "last_mark",
    "sha256",
    "content",
)


def register_table(store: Store) -> Table:
    """Table of every entry, the oldest first; ``content`` is the entry by value, units in its names."""
    return Table(name="register", columns=[Column(name=name) for name in _COLUMNS], rows=_rows(store))


def _rows(store: Store) -> Iterator[list[Any]]:
    zone = store.settings.read().zone
    marks = {
        (standing.kind.value, standing.serial): standing.marks[-1].mark.value
        for standing in store.register.standings()
        if standing.marks
    }
    for one in store.register.all():
        yield [
            one.number,
            one.kind,
            one.serial,
            one.certificate,
            one.issuer,
            one.issued.isoformat(),
            None if one.due is None else one.due.isoformat(),
            iso_time(one.added_utc_s, zone),
            one.simulated,
            marks.get((one.kind, one.serial)),
            one.sha256,
            dict(one.content),
        ]
