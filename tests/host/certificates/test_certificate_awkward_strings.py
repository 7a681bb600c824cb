"""Whatever is typed into whatever field: refused in words, or printed as it is; never run, never leaked."""

import dataclasses
import io
import json
import re
import subprocess
import unicodedata
import xml.etree.ElementTree as ET
from enum import Enum
from pathlib import Path

import pypdf
import pytest

from calibration.conformity import Verdict
from host.certificates.as_found import AsFound, FoundPoint
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.dcc import dcc_xml
from host.certificates.errors import CertificateError
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf
from host.certificates.printable import LONGEST_NAME, LONGEST_NUMBER, longest_of, printable, printable_text

pytestmark = pytest.mark.slow

#: Days and units are no free text.
NOT_FREE = {"issued", "received", "next_due", "unit"}
#: 6199 times 7, which a text would become if it were worked out; and how the file begins that it asks for.
RUN, READ = "43393", "root:x:"


#: As long as a field takes, a letter longer, and far longer.
LONG = (
    *("W" * count for count in (39, 40, 41, 79, 80, 81, 160, 161)),
    *("m" * count for count in (1200, 1201, 100_000)),
    "a b " * 40,
    "- " * 80,
    "Ω" * 160,
    "." * 160,
)
KEPT = json.loads((Path(__file__).parents[1] / "awkward_strings.json").read_text("utf-8"))
AWKWARD = (*(text for group in KEPT.values() for text in group), *LONG, "", " ", "\t")


def with_texts(value, pick, path=""):
    """The same value with every free text taken from ``pick``, by its path."""
    if isinstance(value, str) and not isinstance(value, Enum):
        return value if path.rpartition(".")[2] in NOT_FREE else pick(path)
    if isinstance(value, tuple):
        return tuple(with_texts(one, pick, f"{path}[{at}]") for at, one in enumerate(value))
    if dataclasses.is_dataclass(value):
        changed = {
            field.name: with_texts(getattr(value, field.name), pick, f"{path}.{field.name}")
            for field in dataclasses.fields(value)
        }
        return dataclasses.replace(value, **changed)
    return value


def paths_of(certificate):
    found = []
    with_texts(certificate, lambda path: found.append(path) or "x")
    return found


@pytest.fixture(scope="module")
def certificates(of_kind):
    """One of every kind with every field in use."""
    point = FoundPoint(
        temperature_c=90.0, error_k=-1.6, expanded_u_k=0.15, verdict=Verdict.OUT_OF_TOLERANCE, k=2.0
    )
    found = AsFound(number="1", measured="x", verdict=Verdict.OUT_OF_TOLERANCE, done="x", points=(point,))
    changed = {"opinions": ("x",), "external": ("x",), "as_found": found, "supersedes": "1"}
    return {kind: of_kind(kind, **changed) for kind in Kind}


def accepted(text, longest=LONGEST_NUMBER):
    """The text as every field takes it, None where some field refuses it."""
    try:
        return printable_text(text, "x", longest=longest) or None
    except CertificateError:
        return None


TAKEN = tuple(dict.fromkeys(text for one in AWKWARD if (text := accepted(one))))


def test_there_are_two_hundred_awkward_strings_and_both_fates_are_met():
    assert len(set(AWKWARD)) >= 200
    assert len(TAKEN) >= 80
    assert sum(accepted(one) is None for one in AWKWARD) >= 50


@pytest.mark.parametrize("kind", Kind)
def test_every_field_refuses_a_letter_that_cannot_be_printed_and_names_itself(certificates, kind):
    certificate = certificates[kind]
    for path in paths_of(certificate):
        hostile = with_texts(certificate, lambda one, path=path: "漢" if one == path else "x")
        with pytest.raises(CertificateError) as refused:
            printable(hostile)
        assert refused.value.field == path.removeprefix(".").removeprefix("body.")


@pytest.mark.parametrize("text", AWKWARD, ids=range(len(AWKWARD)))
def test_json_and_xml_say_the_text_in_every_field_or_refuse_it(certificates, text):
    certificate = with_texts(certificates[Kind.SENDER], lambda path: text)
    plain = accepted(text)
    if plain is None:
        try:
            data = canonical_json(certificate)
        except CertificateError:
            return
        # An empty text, or one of marks that nobody sees, leaves the certificate without a number.
        raise AssertionError(data)
    read = certificate_from_canonical(canonical_json(certificate))
    assert read.item == read.remarks[0] == read.points[0].witnesses[0].name == read.body.curve_source == plain
    root = ET.fromstring(dcc_xml(certificate))
    texts = [element.text for element in root.iter() if element.text]
    assert texts.count(plain) > 20
    assert not any(RUN in one or READ in one for one in texts)


def texts_by_path(kind, certificate, turn):
    """Another text for every field, marked with its place; a field meets them in turn."""
    shift = list(Kind).index(kind) * 31 + turn * 17
    texts = {}
    for at, path in enumerate(paths_of(certificate)):
        text = TAKEN[(at + shift) % len(TAKEN)]
        marked = f"{text} q{at}"
        texts[path] = marked if len(marked) <= LONGEST_NUMBER else text
    return texts


def in_the_head(texts):
    """Texts outside the results, without what the program itself says of the rule and the day."""
    return {
        path: text
        for path, text in texts.items()
        if not path.startswith(".body") and path not in (".authorised", ".rule_words")
    }


@pytest.mark.parametrize("kind", Kind)
def test_json_and_xml_of_every_kind_say_every_text_as_it_was_taken(certificates, kind):
    certificate, met = certificates[kind], set()
    for turn in range(8):
        texts = texts_by_path(kind, certificate, turn)
        full = with_texts(certificate, texts.__getitem__)
        assert certificate_from_canonical(canonical_json(full)) == printable(full)
        said = "\n".join(element.text for element in ET.fromstring(dcc_xml(full)).iter() if element.text)
        assert RUN not in said and READ not in said
        for path, text in in_the_head(texts).items():
            assert text in said, path
        met |= {text.rsplit(" q", 1)[0] for text in texts.values()}
    assert met >= set(TAKEN)


@pytest.mark.parametrize("kind", Kind)
def test_the_paper_prints_every_text_as_it_is_and_runs_none(certificates, kind):
    """Each render gives every field another text; a field meets them in turn, all of them meet some field."""
    certificate = certificates[kind]
    for turn in range(2):
        texts = texts_by_path(kind, certificate, turn)
        full = with_texts(certificate, texts.__getitem__)
        full = dataclasses.replace(full, remarks=TAKEN[:60] if turn else TAKEN[60:120])
        pdf = render_pdf(full)
        reader = pypdf.PdfReader(io.BytesIO(pdf))
        whole = _squeezed("".join(page.extract_text() for page in reader.pages))
        assert RUN not in whole and READ not in whole
        for text in full.remarks:
            assert _squeezed(text) in whole, text
        for path, text in in_the_head(texts).items():
            assert _squeezed(text) in whole or path.startswith(".remarks"), path
        assert reader.attachments["certificate.json"] == [canonical_json(full)]
        assert json.loads(reader.attachments["certificate.json"][0])["item"] == full.item


@pytest.mark.poppler
@pytest.mark.parametrize("kind", Kind)
def test_a_word_as_long_as_a_field_takes_runs_off_no_page(certificates, kind, tmp_path):
    certificate = certificates[kind]
    paths = [path.rpartition(".")[2] for path in paths_of(certificate)]
    longest = {name: min(longest_of(name.partition("[")[0]) or LONGEST_NAME, LONGEST_NAME) for name in paths}
    full = with_texts(certificate, lambda path: "W" * longest[path.rpartition(".")[2]])
    (tmp_path / "wide.pdf").write_bytes(render_pdf(full))
    boxes = ["pdftotext", "-bbox", tmp_path / "wide.pdf", "-"]
    shown = subprocess.run(boxes, capture_output=True, text=True, check=True).stdout
    width_pt = 595.28  # ISO 216: A4 is 210 mm wide
    words = re.findall(r'xMin="([-\d.]+)" yMin="[-\d.]+" xMax="([-\d.]+)"', shown)
    assert len(words) > 200
    assert [one for one in words if float(one[0]) < 0.0 or float(one[1]) > width_pt] == []


def _squeezed(text):
    """Text without what a line break adds or takes: blanks, minus signs and composed letters alike."""
    plain = unicodedata.normalize("NFKC", text.replace("−", "-").replace("\u200b", ""))
    return "".join(plain.split())


def test_a_unit_that_no_machine_knows_is_refused(of_kind):
    certificate = of_kind(Kind.STATION_ROUND)
    point = dataclasses.replace(certificate.points[0], unit="furlong")
    body = dataclasses.replace(certificate.body, points=(point,))
    with pytest.raises(CertificateError, match="'furlong' has no spelling"):
        render_pdf(dataclasses.replace(certificate, body=body))


@pytest.mark.parametrize(
    ("logo", "words"),
    [
        (b"<svg onload='x'/>", "must be a PNG or JPEG"),
        (b"\x89PNG\r\n\x1a\n" + b"x" * 1_200_001, "Make the picture smaller"),
        (b"\x89PNG\r\n\x1a\nbroken", "cannot be set on paper"),
    ],
)
def test_a_picture_of_the_shop_that_is_none_is_refused_in_words(make_certificate, logo, words):
    with pytest.raises(CertificateError, match=words):
        render_pdf(make_certificate(logo=logo))
