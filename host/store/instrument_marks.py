"""Marks on instruments: what was decided about one, by whom and why; a later mark counts."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import Row, select

from host.errors import DeskError
from host.reason import reason_text
from host.store import schema
from host.store.engine import Database

_LONGEST_NAME = 64


class Mark(StrEnum):
    """What was decided about an instrument."""

    FAILED = "failed"  # nothing may rest on it until it has a new certificate
    RETIRED = "retired"
    IN_USE = "in_use"  # the one of its kind that is used; lifts the other two

    @property
    def words(self) -> str:
        """As a person says it."""
        return "put to use" if self is Mark.IN_USE else self.value


class MarkError(DeskError):
    """A mark that cannot be set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentMark:
    """One mark.

    Attributes
    ----------
    kind, serial : str
        Of the instrument.
    mark : Mark
    reason, by : str
        In whose words; ``by`` may be empty.
    at_utc_s : float
        [s]
    """

    kind: str
    serial: str
    mark: Mark
    reason: str
    by: str
    at_utc_s: float


class InstrumentMarks:
    """Marks of a store."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(self, kind: str, serial: str, mark: Mark, *, reason: str, by: str = "") -> InstrumentMark:
        """Set a mark.

        Raises
        ------
        MarkError
            If no reason is given that can be printed.
        """
        try:
            said = reason_text(reason, empty="Write why: whoever reads it in a year has nothing else.")
        except DeskError as error:
            raise MarkError(str(error)) from error
        made = InstrumentMark(
            kind=kind,
            serial=serial,
            mark=mark,
            reason=said,
            by=" ".join(by.split())[:_LONGEST_NAME],
            at_utc_s=self._now(),
        )
        with self._database.writing() as connection:
            connection.execute(
                schema.instrument_marks.insert().values(
                    kind=made.kind,
                    serial=made.serial,
                    mark=made.mark.value,
                    reason=made.reason,
                    by=made.by,
                    at_utc_s=made.at_utc_s,
                )
            )
        return made

    def all(self) -> list[InstrumentMark]:
        """Every mark, oldest first."""
        query = select(schema.instrument_marks).order_by(schema.instrument_marks.c.id)
        with self._database.reading() as connection:
            return [_mark(row) for row in connection.execute(query)]


def _mark(row: Row[Any]) -> InstrumentMark:
    return InstrumentMark(
        kind=row.kind,
        serial=row.serial,
        mark=Mark(row.mark),
        reason=row.reason,
        by=row.by,
        at_utc_s=row.at_utc_s,
    )
