"""The certificate as paper: PDF/A-3, with its own data inside the same file."""

import datetime

from host.certificates.canonical import json_of_printable
from host.certificates.certificate import Certificate
from host.certificates.dcc import xml_of_printable
from host.certificates.paper import PaperMark, paper_data
from host.certificates.printable import issued_moment, printable
from host.certificates.results.by_kind import results_of
from host.certificates.results.results import Results
from host.certificates.typesetting import set_on_paper

#: Parts of the sheet, in order.
SHEET = ("1_page.typ", "2_result.typ", "3_behind.typ")


def render_pdf(
    certificate: Certificate, *, timestamp: datetime.datetime | None = None, mark: PaperMark | None = None
) -> bytes:
    """PDF/A-3 of a certificate with its canonical JSON and its XML attached.

    Written to two standards: PDF/A-3a for keeping (fonts inside, tags, the data attached) and
    PDF/UA-1 for screen readers.

    The same certificate gives the same bytes under the same versions of the libraries.

    Parameters
    ----------
    certificate : Certificate
    timestamp : datetime, optional
        Creation date written into the file; the date of issue if left out.
    mark : PaperMark, optional
        Stands at the foot of the first page.

    Raises
    ------
    CertificateError
        If the certificate cannot be printed; the message names the field.
    """
    checked = printable(certificate)
    results = results_of(checked)
    attachments = {"json": json_of_printable(checked), "xml": xml_of_printable(checked, results)}
    return pdf_of_printable(checked, results, attachments, timestamp=timestamp, mark=mark)


def pdf_of_printable(
    checked: Certificate,
    results: Results,
    attachments: dict[str, bytes],
    *,
    timestamp: datetime.datetime | None = None,
    mark: PaperMark | None = None,
) -> bytes:
    """The same where all is there already: printable certificate, results, attached ``json`` and ``xml``."""
    return set_on_paper(
        SHEET,
        paper_data(checked, results, attachments, mark),
        standards=("a-3a", "ua-1"),
        timestamp=timestamp or issued_moment(checked),
    )
