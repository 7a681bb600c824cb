"""Every item that a calibration certificate must hold, and where it stands on paper, in JSON and in XML."""

import csv
import dataclasses
import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pypdf
import pytest

from calibration.conformity import Verdict
from host.certificates.as_found import AsFound, FoundPoint
from host.certificates.canonical import canonical_json
from host.certificates.dcc import dcc_xml
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf

pytestmark = pytest.mark.slow

ITEMS = (Path(__file__).parents[1] / "published") / "iso17025_certificate_items.csv"
STATEMENT = ".//dcc:statement/dcc:declaration/dcc:content"
NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}
FULL = {
    "place": "Yard of the customer, bay 4",
    "received": "2031-05-16",
    "customer_contact": "12 Loom Lane, Nether Wallop Bridge",
    "not_done": ("The loop was left out.",),
    "external": ("Resistance of the leads: by Wren Electrics, sheet 88.",),
    "authorised_by": "M. Tansy",
    "authorised": "2031-05-18",
    "operator": "R. Quill",
    "opinions": ("A corroded terminal would explain it.",),
    "as_found": AsFound(
        number="PTW-0041",
        measured="2031-05-16",
        verdict=Verdict.OUT_OF_TOLERANCE,
        done="terminals cleaned",
        points=(
            FoundPoint(
                temperature_c=90.0,
                error_k=-1.61,
                expanded_u_k=0.15,
                verdict=Verdict.OUT_OF_TOLERANCE,
                k=2.0,
            ),
        ),
    ),
}

#: Clause: words on the paper (a name in braces is a field of the data), path in JSON, path in XML.
WHERE = {
    "7.8.2.1a": ("Calibration certificate for", "kind", ".//dcc:identification/dcc:value"),
    "7.8.2.1b": (
        "{shop}|{shop_address}",
        "shop_address",
        ".//dcc:calibrationLaboratory//dcc:further/dcc:content",
    ),
    "7.8.2.1c": ("{place}", "place", ".//dcc:coreData/dcc:performanceLocation"),
    "7.8.2.1d": ("End of certificate {number}", "number", ".//dcc:coreData/dcc:uniqueIdentifier"),
    "7.8.2.1e": (
        "{customer}|{customer_contact}",
        "customer_contact",
        ".//dcc:customer//dcc:further/dcc:content",
    ),
    "7.8.2.1f": ("{method}", "method", ".//dcc:usedMethod/dcc:name/dcc:content"),
    "7.8.2.1g": ("{item}|{item_condition}", "item_condition", ".//dcc:item/dcc:description/dcc:content"),
    "7.8.2.1h": ("{received}", "received", ".//dcc:coreData/dcc:receiptDate"),
    "7.8.2.1i": ("{measured}", "measured", ".//dcc:coreData/dcc:endPerformanceDate"),
    "7.8.2.1j": ("{issued}", "issued", ".//dcc:coreData/dcc:issueDate"),
    # Nothing is sampled: one item comes in, and the results are its own.
    "7.8.2.1k": ("The results relate only to the item", "item", ".//dcc:item/dcc:name/dcc:content"),
    "7.8.2.1l": ("The results relate only to the item", "item", STATEMENT),
    "7.8.2.1m": ("error", "body.points", ".//dcc:result//si:unitXMLList"),
    "7.8.2.1n": ("The loop was left out.", "not_done", STATEMENT),
    "7.8.2.1o": (
        "{authorised_by}, {authorised}",
        "authorised_by",
        ".//dcc:respPerson/dcc:person/dcc:name/dcc:content",
    ),
    "7.8.2.1p": ("by Wren Electrics, sheet 88", "external", STATEMENT),
    "7.8.4.1a": ("U is the expanded uncertainty", "body.points", ".//si:valueExpandedMUXMLList"),
    "7.8.4.1b": (
        "above the hex, boot fitted",
        "conditions",
        ".//dcc:influenceCondition//dcc:text/dcc:content",
    ),
    "7.8.4.1c": (
        "invented 2207/31|2032-02-01",
        "instruments",
        ".//dcc:measuringEquipment/dcc:certificate/dcc:referralID",
    ),
    "7.8.4.1d": ("Done between the two checks", "as_found", ".//dcc:result/dcc:description/dcc:content"),
    "7.8.4.1e": (
        "Guarded acceptance|Probability that the statement is wrong",
        "rule_words",
        ".//dcc:conformityXMLList",
    ),
    "7.8.4.1f": ("Opinion, not measured|A corroded terminal", "opinions", STATEMENT),
    "7.8.4.3": ("Nothing is said of when to calibrate next", "next_due", STATEMENT),
}
#: What the XML holds there, where a path leads to many.
SAID_IN_XML = {
    "7.8.2.1l": "The results relate only to the item",
    "7.8.2.1n": "The loop was left out.",
    "7.8.2.1p": "by Wren Electrics",
    "7.8.4.1c": "invented 2207/31",
    "7.8.4.1d": "Done between the two checks: terminals cleaned.",
    "7.8.4.1f": "A corroded terminal would explain it.",
    "7.8.4.3": "Nothing is said of when to calibrate next",
    "7.8.2.1c": "other",
    "7.8.2.1h": "2031-05-16",
    "7.8.2.1o": "M. Tansy",
}


def listed_clauses():
    lines = [line for line in ITEMS.read_text("utf-8").splitlines() if not line.startswith("#")]
    return [row["clause"] for row in csv.DictReader(lines)]


def text_of(pdf):
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return [" ".join(page.replace("−", "-").replace("\u200b", "").split()) for page in pages]


@pytest.fixture(scope="module")
def full(of_kind):
    """A certificate that says everything, on paper, in JSON and in XML."""
    certificate = of_kind(Kind.SENDER, **FULL)
    return (
        certificate,
        text_of(render_pdf(certificate)),
        json.loads(canonical_json(certificate)),
        dcc_xml(certificate),
    )


def test_every_item_of_the_list_has_a_place():
    assert sorted(listed_clauses()) == sorted(WHERE)


@pytest.mark.parametrize("clause", WHERE)
def test_the_item_stands_on_paper_in_json_and_in_xml(full, clause):
    certificate, pages, data, xml = full
    words, json_path, xml_path = WHERE[clause]
    fields = {field.name: getattr(certificate, field.name) for field in dataclasses.fields(certificate)}
    for one in words.split("|"):
        assert one.format(**fields) in " ".join(pages), one
    inside = data
    for name in json_path.split("."):
        inside = inside[name]
    if clause != "7.8.4.3":
        assert inside
    found = [element.text or "" for element in ET.fromstring(xml).findall(xml_path, NAMES)]
    assert any(SAID_IN_XML.get(clause, "") in text and text.strip() for text in found)


@pytest.mark.parametrize("kind", Kind)
def test_paper_of_every_kind_has_what_any_paper_must_have(of_kind, kind):
    changed = {name: value for name, value in FULL.items() if name != "as_found"}
    certificate = of_kind(kind, **changed)
    pages = text_of(render_pdf(certificate))
    whole = " ".join(pages)
    for at, page in enumerate(pages, start=1):
        assert f"{certificate.number}, page {at} of {len(pages)}" in page
        assert "May be copied only whole" in page
    word = "record" if kind is Kind.IN_PLACE else "certificate"
    assert pages[-1].count(f"End of {word} {certificate.number}") == 1
    for said in (
        kind.title,
        certificate.sentence,
        certificate.shop_address,
        certificate.customer_contact,
        certificate.place,
        certificate.method,
        certificate.operator,
        certificate.authorised_by,
        *certificate.not_done,
        *certificate.external,
        "no accreditation is claimed",
        "traceable as far as the certificates named here",
        "expanded uncertainty",
    ):
        assert said in whole, said
    assert len(pages) <= 3


@pytest.mark.parametrize("kind", Kind)
def test_what_was_not_said_of_customer_place_and_days_is_said_to_be_not_stated(of_kind, kind):
    # The list asks for these (7.8.2.1 c, e, g, h): a missing row looks like a forgotten one.
    rows = {"customer": "Customer", "customer_contact": "Contact", "place": "Place", "received": "Received",
            "item_condition": "Condition", "operator": "Measured by"}  # fmt: skip
    first = text_of(render_pdf(of_kind(kind, **dict.fromkeys(rows, ""))))[0]
    assert [row for row in rows.values() if f"{row} not stated" not in first] == []
    said = {name: f"words of {row}" for name, row in rows.items()} | {"received": "2031-05-16"}
    assert "not stated" not in text_of(render_pdf(of_kind(kind, **said)))[0]


def test_a_record_calls_itself_a_record_and_nothing_else_does(of_kind):
    record = " ".join(text_of(render_pdf(of_kind(Kind.IN_PLACE))))
    assert "A record, not a certificate" in record
    assert "It is no calibration certificate" in record
    assert "Calibration certificate for" not in record
    other = " ".join(text_of(render_pdf(of_kind(Kind.DECADE_BOX))))
    assert "not a certificate" not in other


def test_a_record_says_what_it_assumes_where_it_first_counts_and_cuts_no_name(of_kind):
    record = of_kind(Kind.IN_PLACE)
    first = text_of(render_pdf(record))[0]
    assumed = "a dash gauge stands within 5 K of the coolant; the head beside the sensor is up to 5 K colder"
    assert first.index("Readings") < first.index(assumed) < first.index("What each reading allows")
    for witness in record.body.witnesses:
        assert witness.name in first[first.index("What each reading allows") :]
    assert "…" not in first
    assert record.body.words == record.sentence and "16.0 K too low" in record.sentence  # 91 - (70 + 5)


def test_an_interval_is_printed_only_where_the_customer_agreed_to_one(make_certificate):
    agreed = " ".join(text_of(render_pdf(make_certificate(next_due="2032-05-11"))))
    assert "2032-05-11, as agreed with the customer" in agreed
    assert "Nothing is said of when to calibrate next" not in agreed


def test_a_draft_says_so_on_every_page_and_an_issued_one_nowhere(make_certificate):
    assert all(
        "Draft: authorised by nobody" in page for page in text_of(render_pdf(make_certificate(draft=True)))
    )
    assert not any("Draft" in page for page in text_of(render_pdf(make_certificate())))


def test_without_a_limit_nothing_is_stated_and_the_paper_says_so(of_kind):
    certificate = of_kind(Kind.RIG_INFRARED)
    assert certificate.verdict is None
    text = " ".join(text_of(render_pdf(certificate)))
    assert "No statement against a limit" in text
    assert "in tolerance" not in text and "Decision rule" not in text
