"""A paper for everybody: language, title, order and words for those who hear it.

PDF/UA-1 and PDF/A-3a, from memory. No validator runs here: what the claim needs is looked for in the
structure of the file itself.
"""

import io
import struct
import zlib

import pypdf
import pytest

from host.certificates.attached import ATTACHMENT, XML_ATTACHMENT
from host.certificates.kind import Kind
from host.certificates.paper import PaperMark
from host.certificates.pdf import render_pdf

pytestmark = pytest.mark.slow

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="10" height="10"/></svg>'


def chunk(name, content):
    """One chunk of a PNG file (W3C, PNG specification, 2003, 5.3): length, name, content, checksum."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


#: The smallest picture there is: one grey dot.
PNG = (
    b"\x89PNG\r\n\x1a\n"
    + chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    + chunk(b"IDAT", zlib.compress(b"\x00\x80"))
    + chunk(b"IEND", b"")
)


def elements_of(pdf):
    """Kind and dictionary of every element of the structure, in reading order."""
    root = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    waiting, found = [root["/StructTreeRoot"]], []
    while waiting:
        element = waiting.pop().get_object()
        if not isinstance(element, dict):
            continue
        if "/S" in element:
            found.append((element["/S"], element))
        children = element.get("/K", [])
        children = children if isinstance(children, list) else [children]
        waiting.extend(reversed(children))
    return found


@pytest.fixture(scope="module", params=list(Kind), ids=lambda kind: kind.value)
def paper(request, of_kind):
    certificate = of_kind(request.param, logo=PNG)
    mark = PaperMark(svg=SVG, alt="Code with number and fingerprint", words=(certificate.number,))
    return certificate, render_pdf(certificate, mark=mark)


def test_the_file_names_its_language_and_title_and_is_tagged(paper):
    certificate, pdf = paper
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert reader.metadata.title == f"{certificate.kind.paper_word} {certificate.number}"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/MarkInfo"]["/Marked"]
    metadata = root["/Metadata"].get_object().get_data().decode("utf-8")
    assert (
        "<pdfaid:part>3</pdfaid:part>" in metadata
        and "<pdfaid:conformance>A</pdfaid:conformance>" in metadata
    )


def test_every_picture_has_words_and_every_table_its_heads(paper):
    _, pdf = paper
    elements = elements_of(pdf)
    figures = [element for kind, element in elements if kind == "/Figure"]
    assert len(figures) >= 3
    assert all(str(figure["/Alt"]).strip() for figure in figures)
    tables = [element for kind, element in elements if kind == "/Table"]
    heads = [element for kind, element in elements if kind == "/TH"]
    assert tables and len(heads) >= 3 * len(tables)


def test_headings_begin_with_the_title_and_no_level_is_left_out(paper):
    _, pdf = paper
    levels = [kind for kind, _ in elements_of(pdf) if kind in ("/H1", "/H2", "/H3")]
    assert levels[0] == "/H1" and levels.count("/H1") == 1
    assert set(levels) == {"/H1", "/H2"}


def test_both_forms_of_the_data_are_attached_with_what_they_are(paper):
    _, pdf = paper
    root = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    related = {one.get_object()["/UF"]: one.get_object()["/AFRelationship"] for one in root["/AF"]}
    assert related == {ATTACHMENT: "/Data", XML_ATTACHMENT: "/Source"}


def test_the_same_certificate_of_any_kind_gives_the_same_bytes(paper):
    certificate, pdf = paper
    mark = PaperMark(svg=SVG, alt="Code with number and fingerprint", words=(certificate.number,))
    assert render_pdf(certificate, mark=mark) == pdf
