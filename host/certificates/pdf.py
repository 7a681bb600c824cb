"""The certificate as paper: PDF/A-3, with its own data inside the same file."""

import datetime
import json
import tempfile
from importlib import resources

import typst

from host.certificates.canonical import json_of_printable
from host.certificates.certificate import Certificate
from host.certificates.dcc import xml_of_printable
from host.certificates.errors import CertificateError
from host.certificates.paper import PaperMark, paper_data
from host.certificates.printable import issued_moment, printable
from host.certificates.results.by_kind import results_of

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
    data = json.dumps(paper_data(checked, results, attachments, mark), ensure_ascii=False)
    sheet = resources.files("host.certificates").joinpath("sheet")
    template = b"".join(sheet.joinpath(part).read_bytes() for part in SHEET)
    # The template reads no file; an empty root means that there is none to read.
    with tempfile.TemporaryDirectory(prefix="ohmbath-paper-") as empty_folder:
        try:
            pdf: bytes = typst.compile(  # type: ignore[call-overload]  # its stub ties root to the input
                template,
                root=empty_folder,
                ignore_system_fonts=True,
                format="pdf",
                sys_inputs={"data": data},
                pdf_standards=["a-3a", "ua-1"],
                package_path=empty_folder,
                package_cache_path=empty_folder,
                timestamp=timestamp or issued_moment(checked),
            )
        except typst.TypstError as error:
            raise CertificateError("certificate", f"cannot be set on paper: {error.message}.") from error
    return pdf
