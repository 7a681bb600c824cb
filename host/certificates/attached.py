"""What travels inside an issued paper, taken out again as it was put in."""

import io
from typing import Any

from host.certificates.errors import CertificateError

#: Names of the data inside a paper; a reader of the file finds them under attachments.
ATTACHMENT = "certificate.json"
XML_ATTACHMENT = "certificate.xml"


def attached_file(pdf: bytes, name: str) -> bytes:
    """Bytes of the file of a name inside a paper.

    Raises
    ------
    CertificateError
        If there is none of that name: papers of version 0.1.0 carry no XML.
    """
    # Late: pages that show no such file need not wait for the library.
    from pyhanko.pdf_utils.misc import PdfReadError
    from pyhanko.pdf_utils.reader import PdfFileReader

    try:
        root = PdfFileReader(io.BytesIO(pdf)).root
    except PdfReadError as error:
        raise CertificateError(name, f"this paper cannot be read ({error}).") from error
    files: Any = root.get("/Names", {}).get("/EmbeddedFiles", {}).get("/Names", ())
    for at in range(0, len(files), 2):
        if str(files[at]) == name:
            found: bytes = files[at + 1]["/EF"]["/F"].data
            return found
    raise CertificateError(
        name, "there is no such file inside this paper; it was issued before there was one."
    )
