"""A certificate as the files that are kept of it."""

from host.certificates.canonical import canonical_json
from host.certificates.certificate import Certificate
from host.certificates.pdf import render_pdf
from host.pictures.result_chart import result_chart_svg
from host.store.certificates import IssuedFiles


def files_of(certificate: Certificate) -> IssuedFiles:
    """Paper, data and chart of a certificate."""
    return IssuedFiles(
        verdict=certificate.verdict_word,
        canonical_json=canonical_json(certificate),
        pdf=render_pdf(certificate),
        chart_svg=result_chart_svg(certificate.points).encode("utf-8"),
    )
