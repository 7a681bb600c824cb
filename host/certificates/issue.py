"""A certificate as the files that are kept of it."""

from dataclasses import replace

from host.certificates.canonical import json_of_printable
from host.certificates.certificate import Certificate
from host.certificates.dcc import xml_of_printable
from host.certificates.fingerprint import mark_of
from host.certificates.pdf import pdf_of_printable
from host.certificates.printable import printable
from host.certificates.results.by_kind import results_of
from host.certificates.results.results import Results
from host.pictures.agreement_strip import strip_svg
from host.pictures.error_chart import error_chart_svg
from host.seal.shop_seal import ShopSeal
from host.store.certificates import IssuedFiles
from host.store.drafts import DraftFiles


def files_of(certificate: Certificate, seal: ShopSeal) -> IssuedFiles:
    """Sealed paper, data and chart of a certificate."""
    checked = printable(certificate)
    results = results_of(checked)
    data = json_of_printable(checked)
    paper = pdf_of_printable(
        checked,
        results,
        {"json": data, "xml": xml_of_printable(checked, results)},
        mark=mark_of(checked.number, data),
    )
    return IssuedFiles(
        verdict=checked.verdict_word,
        canonical_json=data,
        pdf=seal.put_on(paper, shop=certificate.shop),
        chart_svg=chart_of(results).encode("utf-8"),
    )


def draft_files_of(certificate: Certificate) -> DraftFiles:
    """What is kept of a draft."""
    checked = printable(replace(certificate, draft=True))
    return DraftFiles(
        verdict=checked.verdict_word,
        canonical_json=json_of_printable(checked),
        chart_svg=chart_of(results_of(checked)).encode("utf-8"),
    )


def chart_of(results: Results) -> str:
    """The picture that is kept: the chart of errors, or the strip where there is none."""
    if results.bars is not None:
        return error_chart_svg(results.bars)
    return strip_svg(results.strips[0].bars, unit=results.strips[0].unit) if results.strips else ""
