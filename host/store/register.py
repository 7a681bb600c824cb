"""The register: instruments with their certificates, each state of them kept by value."""

import json
import time
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from sqlalchemy import Row, select

from host.errors import DeskError
from host.recalibration import due_of
from host.store import schema
from host.store.engine import Database
from host.store.instrument_kind import InstrumentKind
from host.store.instrument_marks import InstrumentMarks, Mark
from host.store.instrument_standing import InstrumentStanding, in_use, standings_of
from host.store.lost_papers import lost_papers
from host.store.register_entry import Instrument
from host.store.register_file import RegisterEntry, read_register_file

__all__ = ["Instrument", "InstrumentRefusedError", "Register"]


class InstrumentRefusedError(DeskError):
    """An instrument on which nothing may rest; the words say why and what to do."""


class Register:
    """The register; nothing in it is changed, a new certificate is a new entry."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now
        self._marks = InstrumentMarks(database, now)

    def add_text(self, toml_text: str) -> Instrument:
        """Add an instrument from the text of a register file; the same content again changes nothing.

        Raises
        ------
        RegisterFileError
            If the text is no such file; the words name the field.
        """
        return self.add(read_register_file(toml_text))

    def add(self, entry: RegisterEntry) -> Instrument:
        """Add a checked entry; the same content again changes nothing."""
        certificate = json.loads(entry.content)["certificate"]
        with self._database.writing() as connection:
            known = [_instrument(row) for row in connection.execute(_of(entry.kind, entry.serial))]
            typed = [one for one in known if one.certificate == certificate]
            if typed and typed[-1].sha256 == entry.sha256:
                return typed[-1]
            connection.execute(schema.instruments.insert().values(**self._row(entry)))
            *_, row = connection.execute(_of(entry.kind, entry.serial))
            return _instrument(row)

    def mark(self, kind: str, serial: str, mark: Mark, *, reason: str, by: str = "") -> None:
        """Say that an instrument failed, is retired, or is put to use, and why.

        Raises
        ------
        DeskError
            If there is no such instrument, or no reason.
        """
        self.standing(kind, serial)
        self._marks.add(kind, serial, mark, reason=reason, by=by)

    def current(self, kind: str, *, station: str = "") -> Instrument | None:
        """Certificate in force of the one of a kind that is used at a station, None where there is none."""
        standing = in_use(self.standings(), kind, station=station)
        return None if standing is None else standing.in_force

    def usable(
        self, kind: str, *, today: date, months_by_kind: Mapping[str, int], station: str = ""
    ) -> Instrument:
        """The same, refused where nothing may rest on it.

        Parameters
        ----------
        kind : str
        today : date
            In the shop.
        months_by_kind : Mapping[str, int]
            The shop's own intervals of recalibration.
        station : str
            Where it is to be used; see `in_use`.

        Raises
        ------
        InstrumentRefusedError
            If there is none, or it is past its due date or failed.
        """
        words = InstrumentKind(kind).words
        standing = in_use(self.standings(), kind, station=station)
        if standing is None:
            at_station = f" that {station} may use" if station else ""
            raise InstrumentRefusedError(
                f"The register holds no {words} in use{at_station}. Add one with its certificate on the "
                "register's page, or type the certificate into a file and run: ohmbath register add FILE.toml"
            )
        return _usable(standing, today, months_by_kind)

    def usable_one(
        self, kind: str, serial: str, *, today: date, months_by_kind: Mapping[str, int]
    ) -> Instrument:
        """Certificate in force of one instrument, refused where nothing may rest on it.

        Parameters
        ----------
        kind, serial : str
        today : date
            In the shop.
        months_by_kind : Mapping[str, int]
            The shop's own intervals of recalibration.

        Raises
        ------
        DeskError
            If there is none of that serial, or it is past its due date, retired or failed.
        """
        return _usable(self.standing(kind, serial), today, months_by_kind)

    def refuse_if_lost(
        self, content: Mapping[str, Any], *, today: date, months_by_kind: Mapping[str, int]
    ) -> None:
        """Refuse an instrument that something rests on already, where it failed or ran out meanwhile.

        Parameters
        ----------
        content : Mapping
            As it was when it was used.
        today : date
            In the shop.
        months_by_kind : Mapping[str, int]
            The shop's own intervals of recalibration.

        Raises
        ------
        InstrumentRefusedError
            If it is marked failed, or that certificate was withdrawn or is past its due date.
        """
        kind, serial = str(content["kind"]), str(content["serial"])
        words = f"The {InstrumentKind(kind).words} {serial}"
        standing = self._known(kind, serial)
        if standing is not None:
            if standing.failure is not None:
                raise InstrumentRefusedError(standing.refusal(today, months_by_kind) or f"{words} failed.")
            _refuse_withdrawn(standing, str(content.get("certificate", "")), words)
        due = due_of(content, months_by_kind)
        if due is not None and due < today:
            raise InstrumentRefusedError(
                f"{words} was due on {due.isoformat()}, before this came to its result: nothing may rest on "
                "it. Have it calibrated, then measure again."
            )

    def standings(self) -> tuple[InstrumentStanding, ...]:
        """Every instrument with its certificates and marks."""
        entries = self.all()
        with self._database.reading() as connection:
            lost = lost_papers(connection, entries)
        return standings_of(entries, self._marks.all(), lost)

    def standing(self, kind: str, serial: str) -> InstrumentStanding:
        """One instrument with its certificates and marks.

        Raises
        ------
        DeskError
            If the register does not know it.
        """
        standing = self._known(kind, serial)
        if standing is not None:
            return standing
        raise DeskError(
            f"The register holds no {kind.replace('_', ' '):.40} with the serial {serial!r:.80}. Add it with "
            "its certificate, or name another."
        )

    def _known(self, kind: str, serial: str) -> InstrumentStanding | None:
        known = self.standings()
        return next((one for one in known if (one.kind, one.serial) == (kind, serial)), None)

    def kept_at(self, kind: str, serial: str) -> dict[str, str]:
        """Field of a new entry that leaves an instrument where it is kept; none of one kept at no station."""
        standing = self._known(kind, serial)
        return {"station": standing.station} if standing is not None and standing.station else {}

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


def _usable(standing: InstrumentStanding, today: date, months_by_kind: Mapping[str, int]) -> Instrument:
    refusal = standing.refusal(today, months_by_kind)
    if refusal is not None:
        raise InstrumentRefusedError(refusal)
    return standing.in_force


def _refuse_withdrawn(standing: InstrumentStanding, certificate: str, words: str) -> None:
    for entry in standing.certificates:
        gone = standing.withdrawal_of(entry)
        if entry.certificate == certificate and gone is not None:
            raise InstrumentRefusedError(
                f"{words}: its certificate {certificate} was withdrawn before this came to its result "
                f"({gone.reason}). Nothing may rest on it: calibrate it anew, then measure again."
            )


def _of(kind: str, serial: str) -> Any:
    table = schema.instruments
    return select(table).where(table.c.kind == kind, table.c.serial == serial).order_by(table.c.id)


def _instrument(row: Row[Any]) -> Instrument:
    return Instrument(
        number=row.id,
        kind=row.kind,
        serial=row.serial,
        content=json.loads(row.content),
        sha256=row.sha256,
        due=None if row.due is None else date.fromisoformat(row.due),
        added_utc_s=row.added_utc_s,
    )
