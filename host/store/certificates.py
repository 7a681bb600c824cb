"""Issued certificates: bytes that never change, numbers without gaps."""

import hashlib
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Row, select

from host.errors import DeskError
from host.people.deed import Deed
from host.store import schema
from host.store.audit import THE_DESK, write_line
from host.store.counters import count_up, peek
from host.store.engine import Database
from host.store.runs import append_event, require_run


class UnknownCertificateError(DeskError):
    """A certificate that was never issued here."""


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


class Certificates:
    """Certificates of a store; ``folder`` gets a copy of each PDF for people to pick up."""

    def __init__(self, database: Database, folder: Path, now: Callable[[], float] = time.time) -> None:
        self._database = database
        self._folder = folder
        self._now = now
        self._issuing = threading.Lock()

    def next_number(self) -> str:
        """Return the number that the next certificate will bear."""
        with self._database.reading() as connection:
            return _number(peek(connection, "certificate"))

    def issue(self, run: int, make: Callable[[str], IssuedFiles], *, event: str | None = None) -> str:
        """Issue a certificate and return its number.

        ``make`` gets the number and renders; that takes its time, so it runs before the
        transaction, which would keep readings waiting. The transaction then takes the
        number from the counter and makes sure that it is the one on the paper; if another
        process took it meanwhile, the paper is made again. So there are no gaps, and
        nothing is left behind where ``make`` fails.

        Parameters
        ----------
        run : int
            Run it certifies.
        make : Callable[[str], IssuedFiles]
            Renders the certificate of that number.
        event : str, optional
            Kind of an event to append to the run in the same transaction, with
            ``{"certificate": number, "pdf_sha256": …}``: a killed desk then knows at its next
            start whether it has issued.

        Raises
        ------
        UnknownRunError
            If there is no such run.
        """
        with self._issuing:
            while True:
                number = self.next_number()
                files = make(number)
                if self._keep(run, number, files, event):
                    break
            self.path(number)
            return number

    def all(self) -> list[IssuedCertificate]:
        """All certificates, oldest first."""
        query = select(schema.certificates).order_by(schema.certificates.c.number)
        with self._database.reading() as connection:
            return [_issued(row) for row in connection.execute(query)]

    def of_run(self, run: int) -> list[IssuedCertificate]:
        """Certificates of one run, oldest first."""
        table = schema.certificates
        query = select(table).where(table.c.run == run).order_by(table.c.number)
        with self._database.reading() as connection:
            return [_issued(row) for row in connection.execute(query)]

    def verdicts(self) -> dict[int, str]:
        """Verdict of the newest certificate of each run, without the papers."""
        table = schema.certificates
        query = select(table.c.run, table.c.verdict).order_by(table.c.number)
        with self._database.reading() as connection:
            return {row.run: row.verdict for row in connection.execute(query)}

    def data(self) -> list[tuple[str, int, bytes]]:
        """Number, run and canonical JSON of every certificate, oldest first, without the papers."""
        table = schema.certificates
        query = select(table.c.number, table.c.run, table.c.canonical_json).order_by(table.c.number)
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
            raise UnknownCertificateError(f"There is no certificate {number} here.")
        return _issued(row)

    def path(self, number: str) -> Path:
        """File of a certificate's PDF, written anew where it is missing or was changed."""
        issued = self.get(number)
        path = self._folder / f"{number}.pdf"
        if not path.exists() or hashlib.sha256(path.read_bytes()).hexdigest() != issued.pdf_sha256:
            part = path.with_suffix(".pdf.part")
            part.write_bytes(issued.files.pdf)
            os.replace(part, path)
        return path

    def _keep(self, run: int, number: str, files: IssuedFiles, event: str | None) -> bool:
        at_utc_s = self._now()
        digest = hashlib.sha256(files.pdf).hexdigest()
        with self._database.writing() as connection:
            if _number(peek(connection, "certificate")) != number:
                return False
            require_run(connection, run)
            count_up(connection, "certificate")
            connection.execute(
                schema.certificates.insert().values(
                    number=number,
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
                subject=f"certificate {number} of run {run:04d}",
            )
            if event is not None:
                append_event(connection, run, event, {"certificate": number, "pdf_sha256": digest}, at_utc_s)
        return True


def _number(count: int) -> str:
    return f"{count:06d}"


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
