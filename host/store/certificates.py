"""Issued certificates: bytes that never change, numbers without gaps, a chain that shows what is missing."""

import hashlib
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, Select, func, select

from host.errors import DeskError
from host.people.deed import Deed
from host.reason import reason_text
from host.store import schema
from host.store.audit import THE_DESK, write_line
from host.store.certificate_standing import Standing, State, standing_of
from host.store.chain import append_link, head, last_number, next_number, series_now
from host.store.chain_link import LinkKind, sha256_of
from host.store.counters import count_up
from host.store.drafts import end_draft, refuse_ended
from host.store.engine import Database
from host.store.one_paper import refuse_second_paper
from host.store.rests_on import rests_on
from host.store.runs import EventAfter, append_event, require_run
from host.store.series import counter_of, number_in


class UnknownCertificateError(DeskError):
    """A certificate that was never issued here."""


class CertificateStateError(DeskError):
    """A certificate that was withdrawn or superseded already, where one in force is needed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a certificate will stand.

    Attributes
    ----------
    number : str
        Its number.
    previous_number, previous_head : str
        The certificate that came last into the chain, and the head of the chain; empty for the very first.
    """

    number: str
    previous_number: str
    previous_head: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LetOut:
    """How a certificate was let out of the shop.

    Attributes
    ----------
    by : str
        Who answers for it; empty at a desk without accounts.
    draft : int or None
        Draft that it was.
    supersedes : str or None
        Number of the certificate whose place it takes.
    """

    by: str = ""
    draft: int | None = None
    supersedes: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedFiles:
    """What a certificate is made of. ``verdict`` is its word in data, e.g. ``in_tolerance``."""

    verdict: str
    pdf: bytes
    canonical_json: bytes
    chart_svg: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedCertificate:
    """A certificate as it was issued.

    Attributes
    ----------
    number : str
        Its number.
    run : int
        Run it certifies.
    issued_utc_s : float
        When it was issued. [s]
    pdf_sha256 : str
        Digest of the PDF's bytes.
    files : IssuedFiles
        The bytes.
    """

    number: str
    run: int
    issued_utc_s: float
    pdf_sha256: str
    files: IssuedFiles


_AT_ONCE = LetOut()
#: What a signature in a PDF says it covers (ISO 32000-2, 12.8.1).
_SEAL = b"/ByteRange"


class Certificates:
    """Certificates of a store; ``folder`` gets a copy of each PDF for people to pick up."""

    def __init__(self, database: Database, folder: Path, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._folder = folder
        self._now = now
        self._issuing = threading.Lock()

    def next_number(self) -> str:
        """Return the number that the next certificate will bear."""
        return self.next_place().number

    def next_place(self) -> Place:
        """Where the next certificate will stand."""
        with self._database.reading() as connection:
            return _next_place(connection)

    def issue(
        self,
        run: int,
        make: Callable[[Place], IssuedFiles],
        *,
        event: EventAfter | None = None,
        let_out: LetOut = _AT_ONCE,
    ) -> str:
        """Issue a certificate and return its number.

        ``make`` gets its place in the chain and renders; that takes its time, so it runs before the
        transaction, which would keep readings waiting. The transaction then takes the number from the
        counter and makes sure that place and number are those on the paper; if another process issued
        meanwhile, the paper is made again. So there are no gaps, and nothing is left behind where
        ``make`` fails.

        Parameters
        ----------
        run : int
            Run it certifies.
        make : Callable[[Place], IssuedFiles]
            Renders the certificate of that place.
        event : EventAfter, optional
            Event to append to the run in the same transaction, with
            ``{"certificate": number, "pdf_sha256": …}``: a killed desk then knows at its next
            start whether it has issued.
        let_out : LetOut, optional
            By whom, of which draft, in place of which one.

        Raises
        ------
        UnknownRunError
            If there is no such run.
        DraftEndedError
            If the draft was issued or sent back already.
        CertificateStateError
            If the one whose place it takes is not in force any more.
        AlreadyOnPaperError
            If the run has a paper, and this one takes the place of none.
        RunWentOnError
            If the run has other events by now than those from which the certificate was made.
        """
        with self._issuing:
            with self._database.reading() as connection:  # before anything is rendered in vain
                _refuse_second_of_run(connection, run, let_out)
            while True:
                place = self.next_place()
                files = make(place)
                if self._keep(run, place, files, event, let_out):
                    break
            self.path(place.number)
            return place.number

    def withdraw(self, number: str, reason: str, *, by: str) -> str:
        """Withdraw a certificate: it stays as it is, and the chain says that it no longer holds.

        Returns the reason as it is kept.

        Raises
        ------
        UnknownCertificateError
            If it was never issued here.
        CertificateStateError
            If it is not in force.
        DeskError
            If no reason is given that can be printed.
        """
        reason = reason_text(reason, empty="Write why it is withdrawn: who holds the paper will ask.")
        with self._database.writing() as connection:
            _refuse_not_in_force(connection, number)
            said = {"reason": reason, "by": by}
            append_link(connection, LinkKind.WITHDRAWN, number, said, self._now())
        return reason

    def standings(self) -> dict[str, Standing]:
        """How each certificate stands now."""
        table = schema.chain
        query = select(table.c.number, table.c.kind, table.c.content).order_by(table.c.link)
        found: dict[str, Standing] = {}
        with self._database.reading() as connection:
            for row in connection.execute(query.where(table.c.number != "")):
                found[row.number] = standing_of(found.get(row.number), row.kind, row.content)
        return found

    def standing(self, number: str) -> Standing:
        """How one certificate stands now.

        Raises
        ------
        UnknownCertificateError
            If it was never issued here.
        """
        with self._database.reading() as connection:
            return _standing(connection, number)

    def all(self) -> list[IssuedCertificate]:
        """All certificates, oldest first."""
        query = _in_order(select(schema.certificates))
        with self._database.reading() as connection:
            return [_issued(row) for row in connection.execute(query)]

    def any_sealed(self) -> bool:
        """Tell whether a paper was issued that bears a seal; those of the very first desks have none."""
        table = schema.certificates
        with self._database.reading() as connection:
            return any(
                _SEAL in row.pdf
                for row in connection.execute(select(table.c.pdf).order_by(table.c.number.desc()))
            )

    def of_run(self, run: int) -> list[IssuedCertificate]:
        """Certificates of one run, oldest first."""
        table = schema.certificates
        query = _in_order(select(table).where(table.c.run == run))
        with self._database.reading() as connection:
            return [_issued(row) for row in connection.execute(query)]

    def verdicts(self) -> dict[int, str]:
        """Verdict of the newest certificate of each run, without the papers."""
        table = schema.certificates
        query = _in_order(select(table.c.run, table.c.verdict))
        with self._database.reading() as connection:
            return {row.run: row.verdict for row in connection.execute(query)}

    def withdrawn_runs(self) -> frozenset[int]:
        """Runs whose newest certificate was withdrawn."""
        table = schema.certificates
        query = _in_order(select(table.c.run, table.c.number))
        with self._database.reading() as connection:
            newest = {row.run: row.number for row in connection.execute(query)}
        standings = self.standings()
        return frozenset(run for run, number in newest.items() if standings[number].state is State.WITHDRAWN)

    def data(self) -> list[tuple[str, int, bytes]]:
        """Number, run and canonical JSON of every certificate, oldest first, without the papers."""
        table = schema.certificates
        query = _in_order(select(table.c.number, table.c.run, table.c.canonical_json))
        with self._database.reading() as connection:
            return [(row.number, row.run, row.canonical_json) for row in connection.execute(query)]

    def get(self, number: str) -> IssuedCertificate:
        """Return one certificate.

        Raises
        ------
        UnknownCertificateError
            If it was never issued here.
        """
        query = select(schema.certificates).where(schema.certificates.c.number == number)
        with self._database.reading() as connection:
            row = connection.execute(query).one_or_none()
        if row is None:
            raise UnknownCertificateError(_unknown_words(number))
        return _issued(row)

    def number_of(self, pdf_sha256: str) -> str | None:
        """Number of the certificate whose paper has this digest; None where none was issued here."""
        table = schema.certificates
        query = select(table.c.number).where(table.c.pdf_sha256 == pdf_sha256).limit(1)
        with self._database.reading() as connection:
            number: str | None = connection.execute(query).scalar_one_or_none()
        return number

    def data_of(self, number: str) -> bytes:
        """Canonical JSON of one certificate, without its paper.

        Raises
        ------
        UnknownCertificateError
            If it was never issued here.
        """
        query = select(schema.certificates.c.canonical_json).where(schema.certificates.c.number == number)
        with self._database.reading() as connection:
            data: bytes | None = connection.execute(query).scalar_one_or_none()
        if data is None:
            raise UnknownCertificateError(_unknown_words(number))
        return data

    def path(self, number: str) -> Path:
        """File of a certificate's PDF, written anew where it is missing or was changed."""
        issued = self.get(number)
        path = self._folder / f"{number}.pdf"
        if not path.exists() or hashlib.sha256(path.read_bytes()).hexdigest() != issued.pdf_sha256:
            part = path.with_suffix(".pdf.part")
            part.write_bytes(issued.files.pdf)
            os.replace(part, path)
        return path

    def _keep(
        self, run: int, place: Place, files: IssuedFiles, event: EventAfter | None, let_out: LetOut
    ) -> bool:
        at_utc_s = self._now()
        digest = sha256_of(files.pdf)
        with self._database.writing() as connection:
            if _next_place(connection) != place:
                return False
            require_run(connection, run)
            _refuse_second_of_run(connection, run, let_out)
            if let_out.supersedes is not None:
                _refuse_not_in_force(connection, let_out.supersedes)
            count_up(connection, counter_of(series_now(connection)))
            connection.execute(
                schema.certificates.insert().values(
                    number=place.number,
                    run=run,
                    issued_utc_s=at_utc_s,
                    verdict=files.verdict,
                    canonical_json=files.canonical_json,
                    pdf=files.pdf,
                    pdf_sha256=digest,
                    chart_svg=files.chart_svg,
                )
            )
            write_line(
                connection,
                Deed.CERTIFICATE_ISSUED,
                at_utc_s=at_utc_s,
                role=THE_DESK,
                subject=f"certificate {place.number} of run {run:04d}",
            )
            said = {
                "run": run,
                "verdict": files.verdict,
                "pdf_sha256": digest,
                "data_sha256": sha256_of(files.canonical_json),
                "chart_sha256": sha256_of(files.chart_svg),
                "by": let_out.by,
                "draft": let_out.draft,
                "supersedes": let_out.supersedes,
                **rests_on(connection, run),
            }
            append_link(connection, LinkKind.ISSUED, place.number, said, at_utc_s)
            if let_out.supersedes is not None:
                taken = {"number_now": place.number, "by": let_out.by}
                append_link(connection, LinkKind.SUPERSEDED, let_out.supersedes, taken, at_utc_s)
            if let_out.draft is not None:
                end_draft(connection, let_out.draft, number=place.number, by=let_out.by, at_utc_s=at_utc_s)
            if event is not None:
                payload = {"certificate": place.number, "pdf_sha256": digest}
                append_event(connection, run, event.kind, payload, at_utc_s, after=event.after)
        return True


def _refuse_second_of_run(connection: Connection, run: int, let_out: LetOut) -> None:
    if let_out.draft is not None:
        refuse_ended(connection, let_out.draft)
    if let_out.supersedes is None:
        refuse_second_paper(connection, run, draft=let_out.draft)


def _next_place(connection: Connection) -> Place:
    return Place(
        number=next_number(connection),
        previous_number=last_number(connection),
        previous_head=head(connection),
    )


def _in_order(query: Select[Any]) -> Select[Any]:
    """Oldest first: in the order in which they came into the chain."""
    table = schema.chain
    came = (
        select(func.min(table.c.link)).where(table.c.number == schema.certificates.c.number).scalar_subquery()
    )
    return query.order_by(came)


def _unknown_words(number: str) -> str:
    """That there is none; of a bare count also how a number is written."""
    words = f"There is no certificate {number} here."
    if not (number.isascii() and number.isdecimal()) or number == (whole := number_in("", int(number[-9:]))):
        return words
    return f"{words} Write its number as it stands on the paper, with every zero: {whole}."


def _standing(connection: Connection, number: str) -> Standing:
    table = schema.chain
    query = select(table.c.kind, table.c.content).where(table.c.number == number).order_by(table.c.link)
    standing: Standing | None = None
    for row in connection.execute(query):
        standing = standing_of(standing, row.kind, row.content)
    if standing is None:
        raise UnknownCertificateError(_unknown_words(number))
    return standing


def _refuse_not_in_force(connection: Connection, number: str) -> None:
    standing = _standing(connection, number)
    if not standing.is_in_force:
        raise CertificateStateError(
            f"Certificate {number} is {standing.words} already: withdrawn or amended is one in force."
        )


def _issued(row: Row[Any]) -> IssuedCertificate:
    return IssuedCertificate(
        number=row.number,
        run=row.run,
        issued_utc_s=row.issued_utc_s,
        pdf_sha256=row.pdf_sha256,
        files=IssuedFiles(
            verdict=row.verdict,
            pdf=row.pdf,
            canonical_json=row.canonical_json,
            chart_svg=row.chart_svg,
        ),
    )
