"""Sentences that stand on every paper, and that each is true of the paper it stands on."""

from dataclasses import replace

from host.certificates.certificate import InstrumentUsed
from host.certificates.dcc import dcc_xml
from host.certificates.paper import paper_data
from host.certificates.results.by_kind import results_of

AS_BOUGHT = InstrumentUsed(
    role="contact thermometer",
    serial="T-2",
    certificate="none, as bought, its maker",
    expanded_u="within 0.5 K by its maker's word",
    due="no date set",
)
CERTIFIED = replace(AS_BOUGHT, serial="T-3", certificate="TANSY-12, Tansy Metrology")


def traceability_of(certificate):
    """What paper and XML say of it; both the same words."""
    words = paper_data(certificate, results_of(certificate), {"json": b"{}", "xml": b"<x/>"})["traceability"]
    assert words in dcc_xml(certificate).decode("utf-8").replace("&apos;", "'")
    return words


def test_a_result_that_rests_on_what_was_bought_alone_is_not_called_traceable(sample):
    words = traceability_of(replace(sample, instruments=(AS_BOUGHT,)))
    assert "is not traceable" in words and "maker's word" in words


def test_one_certificate_among_the_instruments_is_what_a_result_is_traceable_to(sample):
    assert "named here are" in traceability_of(replace(sample, instruments=(AS_BOUGHT, CERTIFIED)))


def test_a_result_without_instruments_rests_on_its_uncertainties(sample):
    assert "No instrument is named" in traceability_of(replace(sample, instruments=()))
