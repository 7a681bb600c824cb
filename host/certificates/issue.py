"""A certificate as the files that are kept of it."""

from host.certificates.canonical import canonical_json
from host.certificates.certificate import Certificate
from host.certificates.fingerprint import mark_of
from host.certificates.pdf import render_pdf
from host.certificates.printable import printable
from host.certificates.results.by_kind import results_of
from host.certificates.results.results import Results
from host.pictures.agreement_strip import strip_svg
from host.pictures.error_chart import error_chart_svg
from host.seal.shop_seal import ShopSeal
from host.store.certificates import IssuedFiles


def files_of(certificate: Certificate, seal: ShopSeal) -> IssuedFiles:
    """Sealed paper, data and chart of a certificate."""
    data = canonical_json(certificate)
    paper = render_pdf(certificate, mark=mark_of(certificate.number, data))
    return IssuedFiles(
        verdict=certificate.verdict_word,
        canonical_json=data,
        pdf=seal.put_on(paper, shop=certificate.shop),
        chart_svg=chart_of(results_of(printable(certificate))).encode("utf-8"),
    )


def chart_of(results: Results) -> str:
    """The picture that is kept: the chart of errors, or the strip where there is none."""
    if results.bars is not None:
        return error_chart_svg(results.bars)
    return strip_svg(results.strips[0].bars, unit=results.strips[0].unit) if results.strips else ""
