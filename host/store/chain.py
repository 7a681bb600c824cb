"""The chain of issued certificates: each link names the head before it, so that none can go unseen."""

import json
import time
from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Connection, Row, func, select

from host.store import schema
from host.store.chain_link import BRINGS_A_CERTIFICATE, NO_HEAD, Link, LinkKind, content_of, head_of
from host.store.counters import count_up, peek
from host.store.engine import Database
from host.store.series import FIRST_SERIES, counter_of, next_series, number_in

# Counts the links, so that one which is taken off the end leaves a hole.
_COUNTER = "chain"


class Chain:
    """Links of a store, oldest first; written by `append_link` alone, in the transaction of the deed."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def links(self) -> list[Link]:
        """Every link as it is kept, unchecked."""
        query = select(schema.chain).order_by(schema.chain.c.link)
        with self._database.reading() as connection:
            return [_link(row) for row in connection.execute(query)]

    def of_certificate(self, number: str) -> list[Link]:
        """Links about one certificate."""
        table = schema.chain
        query = select(table).where(table.c.number == number).order_by(table.c.link)
        with self._database.reading() as connection:
            return [_link(row) for row in connection.execute(query)]

    def head(self) -> str:
        """Head after the last link; empty where there is none."""
        with self._database.reading() as connection:
            return head(connection)

    def counted(self) -> dict[str, int]:
        """How many numbers each series has given, by the counters."""
        with self._database.reading() as connection:
            return {one: peek(connection, counter_of(one)) - 1 for one in _every_series(connection)}

    def counted_links(self) -> int:
        """How many links were appended, by their counter."""
        with self._database.reading() as connection:
            return peek(connection, _COUNTER) - 1

    def open_series(self, epoch: int) -> str:
        """Open a new series of numbers; its name. The link names the last head and number known here."""
        with self._database.writing() as connection:
            opened = _every_series(connection)
            series = next_series(len(opened) - 1)
            while series in opened:
                series = next_series(len(opened) - 1)
            said = {"series": series, "epoch": epoch, "last_number": last_number(connection)}
            append_link(connection, LinkKind.SERIES_OPENED, "", said, self._now())
        return series


def append_link(
    connection: Connection, kind: LinkKind, number: str, said: Mapping[str, Any], at_utc_s: float
) -> str:
    """Append a link inside the caller's transaction; the head after it."""
    last = _last(connection)
    index = count_up(connection, _COUNTER)
    content = content_of(
        index=index,
        previous=NO_HEAD if last is None else str(last.head),
        kind=kind,
        number=number,
        at_utc_s=at_utc_s,
        said=said,
    )
    new_head = head_of(content)
    connection.execute(
        schema.chain.insert().values(
            link=index, kind=kind.value, number=number, content=content, head=new_head
        )
    )
    return new_head


def head(connection: Connection) -> str:
    """Head after the last link; empty where there is none."""
    last = _last(connection)
    return NO_HEAD if last is None else str(last.head)


def next_number(connection: Connection) -> str:
    """Number that the next certificate will bear."""
    series = series_now(connection)
    return number_in(series, peek(connection, counter_of(series)))


def series_now(connection: Connection) -> str:
    """Series whose numbers are being given."""
    return _every_series(connection)[-1]


def last_number(connection: Connection) -> str:
    """Number of the certificate that came last into the chain; empty where none did."""
    table = schema.chain
    kinds = [kind.value for kind in BRINGS_A_CERTIFICATE]
    last = select(func.max(table.c.link)).where(table.c.kind.in_(kinds)).scalar_subquery()
    found = connection.execute(select(table.c.number).where(table.c.link == last)).scalar_one_or_none()
    return "" if found is None else str(found)


def _every_series(connection: Connection) -> list[str]:
    table = schema.chain
    query = select(table.c.content).where(table.c.kind == LinkKind.SERIES_OPENED.value).order_by(table.c.link)
    return [FIRST_SERIES, *(str(json.loads(text)["series"]) for text in connection.scalars(query))]


def _last(connection: Connection) -> Row[Any] | None:
    return connection.execute(select(schema.chain).order_by(schema.chain.c.link.desc()).limit(1)).first()


def _link(row: Row[Any]) -> Link:
    try:
        said = json.loads(row.content)
    except ValueError:  # altered past this program; the check says so
        said = {}
    return Link(
        index=row.link,
        kind=LinkKind(row.kind),
        number=row.number,
        said=said if isinstance(said, dict) else {},
        content=row.content,
        head=row.head,
    )
