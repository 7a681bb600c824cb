"""Certificates that wait to be authorised. A draft has no number, and is never edited: it ends, once."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, select

from host.certificates.printable import shown_text
from host.errors import DeskError
from host.reason import reason_text
from host.store import schema
from host.store.counters import count_up
from host.store.engine import Database
from host.store.one_paper import refuse_second_paper
from host.store.runs import EventAfter, append_event, require_run


class UnknownDraftError(DeskError):
    """A draft that was never made here."""


class DraftEndedError(DeskError):
    """A draft that was issued or sent back already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftFiles:
    """What a draft is made of; its paper is set anew whenever somebody looks at it."""

    verdict: str
    canonical_json: bytes
    chart_svg: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A draft, and how it ended.

    Attributes
    ----------
    draft : int
        Counted from 1; no number of a certificate.
    run : int
    made_utc_s : float
        [s]
    made_by : str
        Who measured, or who amended; empty where that is not known.
    files : DraftFiles
    supersedes : str or None
        Number of the certificate whose place it is meant to take.
    number : str or None
        Certificate that it became.
    reason : str
        Why it was sent back; empty where it was not.
    ended_by : str
    """

    draft: int
    run: int
    made_utc_s: float
    made_by: str
    files: DraftFiles
    supersedes: str | None
    number: str | None
    reason: str
    ended_by: str

    @property
    def is_waiting(self) -> bool:
        """Tell whether it still waits to be authorised."""
        return self.number is None and not self.reason

    @property
    def name(self) -> str:
        """What stands where a number will."""
        return draft_name(self.draft)


def draft_name(draft: int) -> str:
    """What stands on a draft where a certificate has its number."""
    return f"draft {draft}"


class Drafts:
    """Drafts of a store."""

    def __init__(self, database: Database, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._now = now

    def add(
        self,
        run: int,
        make: Callable[[int], DraftFiles],
        *,
        made_by: str,
        supersedes: str | None = None,
        event: EventAfter | None = None,
    ) -> int:
        """Keep a draft; ``make`` gets its count. With ``event`` the run says so in the same transaction.

        Raises
        ------
        UnknownRunError
            If there is no such run.
        AlreadyOnPaperError
            If it has a paper, and this one takes the place of none.
        RunWentOnError
            If the run has other events by now than those from which the draft was made.
        DraftEndedError
            If another draft waits to take the place of the same certificate.
        """
        at_utc_s = self._now()
        with self._database.writing() as connection:
            require_run(connection, run)
            if supersedes is not None:
                _refuse_second(connection, supersedes)
            else:
                refuse_second_paper(connection, run)
            draft = count_up(connection, "draft")
            files = make(draft)
            connection.execute(
                schema.drafts.insert().values(
                    draft=draft,
                    run=run,
                    made_utc_s=at_utc_s,
                    made_by=made_by,
                    verdict=files.verdict,
                    canonical_json=files.canonical_json,
                    chart_svg=files.chart_svg,
                    supersedes=supersedes,
                )
            )
            if event is not None:
                said = {"certificate": None, "draft": draft}
                append_event(connection, run, event.kind, said, at_utc_s, after=event.after)
        return draft

    def send_back(self, draft: int, reason: str, *, by: str) -> str:
        """End a draft without a certificate; the reason as it is kept.

        Raises
        ------
        UnknownDraftError, DraftEndedError
        DeskError
            If no reason is given that can be printed.
        """
        reason = reason_text(reason, empty="Write why it is sent back: who measured will ask.")
        with self._database.writing() as connection:
            refuse_ended(connection, draft)
            end_draft(connection, draft, reason=reason, by=by, at_utc_s=self._now())
        return reason

    def get(self, draft: int) -> Draft:
        """Return one draft.

        Raises
        ------
        UnknownDraftError
            If it was never made here.
        """
        with self._database.reading() as connection:
            row = connection.execute(_drafts().where(schema.drafts.c.draft == draft)).one_or_none()
        if row is None:
            raise UnknownDraftError(f"There is no draft {draft} here.")
        return _draft(row)

    def waiting(self) -> list[Draft]:
        """Drafts that wait to be authorised, the oldest first."""
        query = _drafts().where(schema.draft_ends.c.draft.is_(None))
        with self._database.reading() as connection:
            return [_draft(row) for row in connection.execute(query)]

    def of_run(self, run: int) -> list[Draft]:
        """Drafts of one run, oldest first, ended or not."""
        with self._database.reading() as connection:
            return [_draft(row) for row in connection.execute(_drafts().where(schema.drafts.c.run == run))]

    def verdicts(self) -> dict[int, str]:
        """Verdict of the newest waiting draft of each run."""
        query = _drafts().where(schema.draft_ends.c.draft.is_(None))
        with self._database.reading() as connection:
            return {row.run: row.verdict for row in connection.execute(query)}


def refuse_ended(connection: Connection, draft: int) -> None:
    """Make sure, in the caller's transaction, that a draft still waits.

    Raises
    ------
    UnknownDraftError, DraftEndedError
    """
    row = connection.execute(_drafts().where(schema.drafts.c.draft == draft)).one_or_none()
    if row is None:
        raise UnknownDraftError(f"There is no draft {draft} here.")
    found = _draft(row)
    if found.number is not None:
        raise DraftEndedError(f"Draft {draft} was issued already, as certificate {found.number}.")
    if not found.is_waiting:
        raise DraftEndedError(f"Draft {draft} was sent back already: {found.reason}")


def end_draft(
    connection: Connection,
    draft: int,
    *,
    by: str,
    at_utc_s: float,
    number: str | None = None,
    reason: str = "",
) -> None:
    """End a draft inside the caller's transaction."""
    connection.execute(
        schema.draft_ends.insert().values(draft=draft, number=number, reason=reason, by=by, at_utc_s=at_utc_s)
    )


def _refuse_second(connection: Connection, supersedes: str) -> None:
    query = _drafts().where(schema.drafts.c.supersedes == supersedes, schema.draft_ends.c.draft.is_(None))
    other = connection.execute(query).first()
    if other is not None:
        raise DraftEndedError(
            f"Draft {other.draft} waits to take the place of certificate {supersedes} already: "
            "authorise it or send it back first."
        )


def _drafts() -> Select[Any]:
    drafts, ends = schema.drafts, schema.draft_ends
    return (
        select(drafts, ends.c.number, ends.c.reason, ends.c.by)
        .outerjoin(ends, ends.c.draft == drafts.c.draft)
        .order_by(drafts.c.draft)
    )


def _draft(row: Row[Any]) -> Draft:
    return Draft(
        draft=row.draft,
        run=row.run,
        made_utc_s=row.made_utc_s,
        made_by=row.made_by,
        files=DraftFiles(verdict=row.verdict, canonical_json=row.canonical_json, chart_svg=row.chart_svg),
        supersedes=row.supersedes,
        number=row.number,
        reason=shown_text(row.reason or ""),
        ended_by=row.by or "",
    )
