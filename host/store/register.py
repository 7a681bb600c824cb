"""The register: instruments with their certificates, each state of them kept by value."""

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, select

from host.store import schema
from host.store.engine import Database
from host.store.register_file import RegisterEntry, read_register_file


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One instrument as one certificate describes it.

    Attributes
    ----------
    kind, serial : str
        What it is, and its serial.
    content : Mapping[str, Any]
        The register file by value; dates are ISO 8601 text.
    sha256 : str
        Digest of the content, by which a result cites it.
    due : date or None
        When its next calibration is due, where its owner set a date.
    added_utc_s : float
        When it came into the register. [s]
    """

    kind: str
    serial: str
    content: Mapping[str, Any]
    sha256: str
    due: date | None
    added_utc_s: float

    @property
    def certificate(self) -> str:
        """Certificate that the content comes from."""
        return str(self.content["certificate"])

    @property
    def simulated(self) -> bool:
        """Tell whether it exists in simulation only."""
        return bool(self.content.get("simulated", False))

    def is_overdue(self, today: date) -> bool:
        """Tell whether its calibration was due before ``today``."""
        return self.due is not None and self.due < today


class Register:
    """The register; nothing in it is changed, a new certificate is a new entry."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add_text(self, toml_text: str) -> Instrument:
        """Add an instrument from the text of a register file; the same content again changes nothing.

        Raises
        ------
        RegisterFileError
            If the text is no such file; the words name the field.
        """
        entry = read_register_file(toml_text)
        with self._database.writing() as connection:
            newest = connection.execute(_newest(entry.kind, entry.serial)).first()
            if newest is not None and newest.sha256 == entry.sha256:
                return _instrument(newest)
            connection.execute(schema.instruments.insert().values(**self._row(entry)))
            row = connection.execute(_newest(entry.kind, entry.serial)).first()
            assert row is not None
            return _instrument(row)

    def current(self, kind: str) -> Instrument | None:
        """Newest entry of a kind, None where there is none."""
        with self._database.reading() as connection:
            row = connection.execute(_newest(kind)).first()
        return None if row is None else _instrument(row)

    def all(self) -> list[Instrument]:
        """Every entry, oldest first."""
        query = select(schema.instruments).order_by(schema.instruments.c.id)
        with self._database.reading() as connection:
            return [_instrument(row) for row in connection.execute(query)]

    def _row(self, entry: RegisterEntry) -> dict[str, Any]:
        return {
            "kind": entry.kind,
            "serial": entry.serial,
            "content": entry.content,
            "sha256": entry.sha256,
            "due": None if entry.due is None else entry.due.isoformat(),
            "added_utc_s": self._now(),
        }


def _newest(kind: str, serial: str | None = None) -> Any:
    table = schema.instruments
    query = select(table).where(table.c.kind == kind).order_by(table.c.id.desc()).limit(1)
    return query if serial is None else query.where(table.c.serial == serial)


def _instrument(row: Row[Any]) -> Instrument:
    return Instrument(
        kind=row.kind,
        serial=row.serial,
        content=json.loads(row.content),
        sha256=row.sha256,
        due=None if row.due is None else date.fromisoformat(row.due),
        added_utc_s=row.added_utc_s,
    )
