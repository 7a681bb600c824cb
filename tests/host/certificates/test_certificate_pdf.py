import dataclasses
import datetime
import io
import re
import subprocess
import xml.etree.ElementTree as ET

import pypdf
import pytest

from calibration.conformity import DecisionRule
from host.certificates.attached import ATTACHMENT, XML_ATTACHMENT
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.certificate import Coefficient, Witness
from host.certificates.dcc import dcc_xml
from host.certificates.errors import CertificateError
from host.certificates.paper_table import percent_apart, with_its_unit, with_minus
from host.certificates.pdf import render_pdf
from host.certificates.printed import printed_points

SIMULATED = "Simulated bench: no real sender was measured"
MARKUP = '#read("/etc/passwd") $x$ \\ #{panic("x")} *b* _i_ <l> @r `c` // /* & <script>'
A4_WIDTH_PT = 595.3


def pages_of(pdf: bytes) -> list[str]:
    """Text of each page with plain spaces and hyphens for minus signs."""
    texts = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return [" ".join(text.replace("−", "-").replace("\u200b", "").split()) for text in texts]


@pytest.fixture(scope="module")
def corroded(make_certificate):
    return make_certificate(series_ohm=10.0)


@pytest.fixture(scope="module")
def corroded_pdf(corroded):
    return render_pdf(corroded)


def test_every_number_of_the_table_stands_on_the_first_page_as_printed(corroded, corroded_pdf):
    first = pages_of(corroded_pdf)[0]
    for row in printed_points(corroded):
        cells = (
            row.temperature_c, row.temperature_f, row.resistance_ohm, row.expanded_u_resistance_ohm,
            row.indicated_c, row.indicated_f, row.error_k, row.expanded_u_k, row.k, row.limit_k,
        )  # fmt: skip
        assert " ".join(cells) in first


def test_the_verdict_stands_there_by_word_and_by_shape(make_certificate):
    for series_ohm, shape, words in ((0.0, "●", "In tolerance"), (10.0, "◆", "Out of tolerance")):
        first = pages_of(render_pdf(make_certificate(series_ohm=series_ohm)))[0]
        assert f"{shape} {words}" in first
    undecided = next(
        certificate
        for series_ohm in (6.2, 6.4, 6.6, 6.8, 7.0, 7.2)
        if (certificate := make_certificate(series_ohm=series_ohm)).verdict.value == "not_decided"
    )
    assert "◐ Not decided" in pages_of(render_pdf(undecided))[0]


def test_what_a_metrologist_looks_for_is_on_the_paper(corroded, corroded_pdf):
    text = " ".join(pages_of(corroded_pdf))
    looked_for = [
        corroded.sentence, corroded.rule_words, corroded.body.curve_source, corroded.body.fit_words,
        corroded.item, corroded.customer, corroded.measured, corroded.issued, corroded.shop_address,
        corroded.method, corroded.item_condition, *corroded.remarks, *corroded.citations,
        *(line.quantity for line in corroded.points[2].budget.lines),
        *(one.certificate for one in corroded.instruments), *(words for _, words in corroded.conditions),
        "results relate only to the item", "no accreditation is claimed", "End of certificate PTW-0042",
    ]  # fmt: skip
    assert [words for words in looked_for if words not in text] == []


def test_the_gap_between_sender_and_probe_is_printed_in_the_strip(corroded, corroded_pdf):
    assert abs(corroded.points[2].error_k) == pytest.approx(1.61, abs=0.005)
    assert "1.61 K" in pages_of(corroded_pdf)[0]


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 3, 6, 19])
def test_a_check_of_up_to_nineteen_points_takes_two_numbered_pages(make_certificate, count):
    temperatures = tuple(10.0 + 5.0 * step for step in range(count))
    pages = pages_of(render_pdf(make_certificate(temperatures_c=temperatures)))
    assert len(pages) == 2
    for at, page in enumerate(pages, start=1):
        assert f"PTW-0042, page {at} of 2" in page


@pytest.mark.slow
@pytest.mark.parametrize("extra", [0, 2])
@pytest.mark.parametrize("count", [1, 3, 4])
@pytest.mark.parametrize("sentence", ["Well.", "Word " * 60])
def test_no_page_holds_the_signature_alone_and_rule_and_caution_stand_once(
    make_certificate, count, extra, sentence
):
    certificate = make_certificate(
        temperatures_c=tuple(20.0 + 10.0 * step for step in range(count)), sentence=sentence
    )
    points = tuple(
        dataclasses.replace(point, witnesses=(*point.witnesses[:1] * (1 + extra), *point.witnesses[1:]))
        for point in certificate.points
    )
    body = dataclasses.replace(certificate.body, points=points)
    pages = pages_of(render_pdf(dataclasses.replace(certificate, body=body)))
    for at, page in enumerate(pages, start=1):
        assert f"PTW-0042, page {at} of {len(pages)}" in page
    text = " ".join(pages)
    assert text.count("Decision rule") == text.count("Open no cooling system") == 1
    (signed,) = [page for page in pages if "Measured by" in page]
    assert "Error in K" in signed or "Who says what" in signed  # at least the pictures stand with it


def test_terms_have_a_minus_sign_and_names_with_a_hyphen_keep_it():
    assert with_minus("R = R25 exp(beta (1/T - 1/T25)), about -4 % (-0.5 K)") == (
        "R = R25 exp(beta (1/T \N{MINUS SIGN} 1/T25)), about \N{MINUS SIGN}4 % (\N{MINUS SIGN}0.5 K)"
    )
    for name in ("ntc-248-90c", "two-wire", "2031-05-17", "P-1", "ILAC-G8:09/2019", "28-00000abc1234"):
        assert with_minus(name) == name


def test_coefficients_of_the_beta_equation_have_the_names_of_the_trade_on_paper(sample):
    fitted = (
        Coefficient(name="r25_ohm", value=2000.0, standard_u=None),
        Coefficient(name="beta_k", value=3500.0, standard_u=None),
    )
    body = dataclasses.replace(sample.body, coefficients=fitted)
    text = " ".join(pages_of(render_pdf(dataclasses.replace(sample, body=body))))
    assert "R25 in Ω 2000" in text and "beta in K 3500" in text
    assert "r25_ohm" not in text and "beta_k" not in text


def test_a_long_table_repeats_its_head_and_numbers_every_page(make_certificate):
    certificate = make_certificate(temperatures_c=tuple(10.0 + 2.0 * step for step in range(45)))
    pages = pages_of(render_pdf(certificate))
    assert len(pages) > 2
    for at, page in enumerate(pages, start=1):
        assert f"PTW-0042, page {at} of {len(pages)}" in page
        assert SIMULATED in page
    assert "resistance" in pages[0] and "indicated" in pages[0]
    assert "resistance" in pages[1] and "indicated" in pages[1]
    assert "2 of 45 points" in " ".join(pages)


@pytest.mark.slow
def test_a_simulated_run_says_so_on_each_page_and_a_real_one_nowhere(make_certificate, corroded_pdf):
    assert all(SIMULATED in page for page in pages_of(corroded_pdf))
    assert not any("imulated" in page for page in pages_of(render_pdf(make_certificate(simulated=False))))


@pytest.mark.slow
def test_times_of_a_simulated_clock_are_said_to_be_its_own(make_certificate, corroded_pdf):
    # Such a run may end "after" its certificate was issued: its clock runs ahead of the wall's.
    said = "Simulated time is of the bench's own clock, which runs ahead of the desk's"
    ahead = make_certificate(measured="2031-05-17 23:40 to 2031-05-18 00:05 UTC, simulated time")
    assert said in pages_of(render_pdf(ahead))[-1] and said in dcc_xml(ahead).decode()
    assert said not in " ".join(pages_of(corroded_pdf))


def test_no_line_breaks_between_a_number_and_its_unit():
    assert with_its_unit("off by 1.2 K ± 0.3 K at 90 °C, 5 % of 100 Ω") == (
        "off by 1.2\xa0K ±\xa00.3\xa0K at 90\xa0°C, 5\xa0% of 100\xa0Ω"
    )
    assert with_its_unit("run 7 Kiln Yard, 3 Karats") == "run 7 Kiln Yard, 3 Karats"
    assert percent_apart("0.01% + 0.03 Ω (k = 2)") == "0.01\xa0% + 0.03 Ω (k = 2)"


def test_the_simple_rule_is_told_apart_from_the_guarded_one(make_certificate, corroded_pdf):
    simple = " ".join(pages_of(render_pdf(make_certificate(rule=DecisionRule.SIMPLE))))
    assert "the error alone is compared with the limit" in simple
    assert "the error alone is compared with the limit" not in " ".join(pages_of(corroded_pdf))


def test_the_data_inside_the_file_are_the_canonical_data_and_give_the_certificate_back(
    corroded, corroded_pdf
):
    attached = pypdf.PdfReader(io.BytesIO(corroded_pdf)).attachments[ATTACHMENT]
    assert attached == [canonical_json(corroded)]
    assert certificate_from_canonical(attached[0]) == corroded


def test_the_same_certificate_gives_the_same_bytes(corroded, corroded_pdf):
    assert render_pdf(corroded) == corroded_pdf


def test_the_file_carries_the_day_of_issue_unless_told_another(corroded, corroded_pdf):
    # The sample was issued on 2031-05-17; a date alone means its first second in UTC.
    assert pypdf.PdfReader(io.BytesIO(corroded_pdf)).metadata["/CreationDate"] == "D:20310517000000Z"
    other = datetime.datetime(2032, 1, 2, 3, 4, 5, tzinfo=datetime.UTC)
    later = render_pdf(corroded, timestamp=other)
    assert pypdf.PdfReader(io.BytesIO(later)).metadata["/CreationDate"] == "D:20320102030405Z"


def test_the_file_claims_pdf_a_3a_and_carries_what_the_claim_needs(corroded_pdf):
    # ISO 19005-3: pdfaid part 3, conformance A; every font embedded; attachment with a relationship;
    # an output intent; tags. From memory of the standard; no validator runs here.
    reader = pypdf.PdfReader(io.BytesIO(corroded_pdf))
    root = reader.trailer["/Root"]
    metadata = root["/Metadata"].get_object().get_data().decode("utf-8")
    assert "<pdfaid:part>3</pdfaid:part>" in metadata
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in metadata
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    related = [entry.get_object() for entry in root["/AF"]]
    assert [(one["/UF"], one["/AFRelationship"]) for one in related] == [
        (ATTACHMENT, "/Data"),
        (XML_ATTACHMENT, "/Source"),
    ]
    assert related[0]["/EF"]["/F"].get_object()["/Subtype"] == "/application/json"
    assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"].value is True
    assert root["/OutputIntents"][0].get_object()["/S"] == "/GTS_PDFA1"
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert {"/FontFile2", "/FontFile3"} & set(descriptor.get_object())


def test_markup_of_the_typesetter_is_printed_and_never_run(make_certificate):
    certificate = make_certificate(
        item=MARKUP, customer=MARKUP, sentence=MARKUP, remarks=(MARKUP,), curve=MARKUP, authorised_by=MARKUP
    )
    pdf = render_pdf(certificate)
    pages = pages_of(pdf)
    assert MARKUP in pages[0] and MARKUP in pages[1]
    assert "root:" not in " ".join(pages)


def test_a_witness_with_a_hostile_name_does_not_open_the_picture(sample):
    hostile = Witness(name='</svg><image href="x"/>', temperature_c=25.0, expanded_u_k=0.2)
    point = dataclasses.replace(sample.points[0], witnesses=(hostile, *sample.points[0].witnesses))
    assert render_pdf(
        dataclasses.replace(sample, body=dataclasses.replace(sample.body, points=(point,)))
    ).startswith(b"%PDF")


def test_a_certificate_that_cannot_be_printed_is_refused_before_any_paper(make_certificate):
    with pytest.raises(CertificateError, match="customer"):
        render_pdf(make_certificate(customer="李"))


@pytest.mark.poppler
def test_no_word_runs_off_the_paper_however_long(make_certificate, tmp_path):
    certificate = make_certificate(
        item="W" * 160, customer="Wx" * 80, sentence="m" * 900, shop="W" * 80, number="W" * 40,
        shop_address="y" * 800, citations=("q" * 1000,), conditions=(("z" * 60, "z" * 300),),
        software=(("s" * 200, "v" * 200),), authorised_by="A" * 160,
    )  # fmt: skip
    path = tmp_path / "long.pdf"
    path.write_bytes(render_pdf(certificate))
    boxes = subprocess.run(
        ["pdftotext", "-bbox", str(path), "-"], capture_output=True, check=True, text=True
    ).stdout
    edges = [float(edge) for edge in re.findall(r'xMax="([0-9.]+)"', boxes)]
    assert len(edges) > 200
    assert max(edges) < A4_WIDTH_PT - 40.0
    assert ET.fromstring(boxes) is not None


def test_no_page_holds_the_end_of_a_certificate_alone(sample):
    lengths = []
    for more in range(24, 32):
        said = tuple(f"Line {line} of what else is to be said." for line in range(more))
        pages = pages_of(render_pdf(dataclasses.replace(sample, remarks=(*sample.remarks, *said))))
        assert "End of certificate" in pages[-1] and "Attached: the data" in pages[-1], more
        lengths.append(len(pages))
    assert lengths[0] == 2 and lengths[-1] == 3  # so one of them filled its second page
