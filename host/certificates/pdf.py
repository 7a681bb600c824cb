"""The certificate as paper: PDF/A-3 with its own data inside."""

import datetime

from host.certificates.certificate import Certificate


def render_pdf(certificate: Certificate, *, timestamp: datetime.datetime | None = None) -> bytes:
    """PDF/A-3 of a certificate."""
    raise NotImplementedError
