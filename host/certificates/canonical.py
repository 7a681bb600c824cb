"""The certificate as canonical JSON: the data that travel inside the paper.

Keys are sorted, the encoding is UTF-8, and nothing stands between the tokens. Every number is
an object of two strings: ``reported``, the very characters of the paper, and ``full``, the
shortest decimal that gives the same double back.

Version 2 holds a head that is the same for all kinds, ``kind``, and ``body``. Version 1 knew
senders alone and had no body; it is still read.
"""

import json

from host.certificates.bodies.by_kind import BODIES
from host.certificates.canonical_form import from_data, to_data
from host.certificates.canonical_version_1 import version_2_of
from host.certificates.certificate import Certificate
from host.certificates.errors import CertificateError
from host.certificates.kind import Kind
from host.certificates.printable import printable

FORMAT = "ohmbath certificate"
VERSION = 2


def canonical_json(certificate: Certificate) -> bytes:
    """Data of a certificate; the same certificate gives the same bytes.

    Raises
    ------
    CertificateError
        If the certificate cannot be printed: what the paper cannot say, the data do not say.
    """
    return json_of_printable(printable(certificate))


def json_of_printable(certificate: Certificate) -> bytes:
    """The same of a certificate that went through `host.certificates.printable` already."""
    data = to_data(certificate) | {"format": FORMAT, "version": VERSION, "kind": certificate.kind.value}
    text = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8")


def certificate_from_canonical(data: bytes) -> Certificate:
    """The certificate as a value again, to full precision.

    Raises
    ------
    CertificateError
        If the bytes are no certificate, or of a version later than this program knows.
    """
    try:
        read = json.loads(data)
        if read["format"] != FORMAT:
            raise CertificateError("format", f"{read['format']!r} is not {FORMAT!r}.")
        if read["version"] > VERSION:
            raise CertificateError(
                "version",
                f"{read['version']} is newer than {VERSION}, the newest known here: update this program.",
            )
        if read["version"] == 1:
            read = version_2_of(read)
        body = from_data(BODIES[Kind(read["kind"])], read["body"])
        return from_data(Certificate, read, body=body)
    except CertificateError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise CertificateError("data", f"no certificate can be read from it ({error}).") from error
