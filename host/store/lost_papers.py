"""Certificates of this desk that no longer hold, as the register needs them: entries may rest on one."""

import json
from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, select

from host.store import schema
from host.store.certificate_standing import Standing, standing_of
from host.store.chain_link import LinkKind
from host.store.register_entry import Instrument


def lost_papers(connection: Connection, entries: Iterable[Instrument]) -> Mapping[int, Standing]:
    """How the certificate of an entry stands, by the entry's number; only of those that no longer hold.

    An entry is of a certificate of this desk where it bears its number and names the shop on it as the
    issuer: another house may number as we do. One that was superseded stands as the last that took its
    place: amendments change no number.
    """
    standings = _not_in_force(connection)
    cited = [entry for entry in entries if entry.certificate in standings]
    if not cited:
        return {}
    shops = _shops(connection, {entry.certificate for entry in cited})
    return {
        entry.number: _at_the_end(entry.certificate, standings)
        for entry in cited
        if shops.get(entry.certificate) == _plain(entry.issuer)
    }


def _not_in_force(connection: Connection) -> Mapping[str, Standing]:
    table = schema.chain
    query = select(table.c.number, table.c.kind, table.c.content).order_by(table.c.link)
    ended = query.where(table.c.kind.in_((LinkKind.WITHDRAWN.value, LinkKind.SUPERSEDED.value)))
    return {row.number: standing_of(None, row.kind, row.content) for row in connection.execute(ended)}


def _at_the_end(number: str, standings: Mapping[str, Standing]) -> Standing:
    standing = standings[number]
    while standing.number_now in standings:
        standing = standings[standing.number_now]
    return standing


def _shops(connection: Connection, numbers: set[str]) -> Mapping[str, str]:
    table = schema.certificates
    query = select(table.c.number, table.c.canonical_json).where(table.c.number.in_(sorted(numbers)))
    return {
        row.number: _plain(str(json.loads(row.canonical_json)["shop"])) for row in connection.execute(query)
    }


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()
