"""The seal of a paper: whole or altered, by whose key, and what other people's readers say."""

import datetime
import io
import random
import re
import shutil
import subprocess

import pytest
from cryptography.hazmat.primitives import serialization

from host.seal.errors import SealError
from host.seal.seal_check import SealState, check_seal, public_key_in
from host.seal.sealing import sealed

pytestmark = pytest.mark.slow

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
CAUGHT = {SealState.ALTERED, SealState.OTHER_KEY, SealState.NO_SEAL, SealState.UNREADABLE}
SHOP = "Saltmarsh Lane Motor Workshop"


def flipped(file: bytes, bit: int) -> bytes:
    changed = bytearray(file)
    changed[bit // 8] ^= 1 << (bit % 8)
    return bytes(changed)


def test_a_sealed_paper_begins_with_the_paper_as_it_was_and_is_whole_by_the_shop_s_key(paper, unsealed, root):
    assert paper.startswith(unsealed)
    assert check_seal(paper, root).state is SealState.WHOLE
    assert check_seal(paper, None).state is SealState.KEY_UNKNOWN


def test_flipped_bits_at_two_thousand_places_are_all_caught(paper, root):
    chance = random.Random(20261125)
    bits = [chance.randrange(8 * len(paper)) for _ in range(2000)]
    missed = [bit for bit in bits if check_seal(flipped(paper, bit), root).state not in CAUGHT]
    assert missed == []


def test_a_flipped_bit_in_every_byte_that_the_seal_added_is_caught_also_without_a_key(paper, unsealed):
    """Its dictionary, every digit of its container and its padding, its table and its end."""
    for place in range(len(unsealed), len(paper)):
        altered = flipped(paper, 8 * place + hardest_bit(paper[place]))
        assert check_seal(altered, None).state in CAUGHT, place  # a key would only refuse more


def test_a_flipped_bit_in_every_byte_of_a_paper_s_structure_is_caught(paper, unsealed):
    """All of it before the seal that stands outside its streams: objects, dictionaries, table, trailer."""
    streams = [match.span(1) for match in re.finditer(rb"stream\r?\n(.*?)endstream", unsealed, re.DOTALL)]
    begins, ends = [0, *(last for _, last in streams)], [*(first for first, _ in streams), len(unsealed)]
    structure = [place for first, last in zip(begins, ends, strict=True) for place in range(first, last)]
    assert len(streams) > 10 and len(structure) > 10_000
    missed = [
        place
        for place in structure
        if check_seal(flipped(paper, 8 * place + place % 8), None).state not in CAUGHT
    ]
    assert missed == []


def test_no_bit_of_a_whole_small_file_can_be_flipped(ring, root):
    """Every bit of every byte, so every mark of a file's structure, before the seal and in it."""
    small = sealed(small_pdf(), ring.signing_key(), shop=SHOP, at=AT)
    assert check_seal(small, root).state is SealState.WHOLE
    missed = [
        bit for bit in range(8 * len(small)) if check_seal(flipped(small, bit), root).state not in CAUGHT
    ]
    assert missed == []


def hardest_bit(byte: int) -> int:
    """The lowest bit that makes a digit of the container into another valid one, where one does."""
    digits = b"0123456789ABCDEF"
    return next((bit for bit in range(8) if byte in digits and byte ^ 1 << bit in digits), byte % 8)


def small_pdf() -> bytes:
    """One empty page (ISO 32000-1, annex H.2)."""
    objects = (
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] /Contents 4 0 R /Resources << >> >>",
        b"<< /Length 0 >>\nstream\n\nendstream",
    )
    file, places = b"%PDF-1.7\n", []
    for number, content in enumerate(objects, start=1):
        places.append(len(file))
        file += b"%d 0 obj\n%s\nendobj\n" % (number, content)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    end = b"trailer\n<< /Size 5 /Root 1 0 R /ID [<00><00>] >>\nstartxref\n%d\n%%%%EOF\n" % len(file)
    return file + b"xref\n0 5\n0000000000 65535 f \n" + table + end


@pytest.mark.parametrize(
    "change",
    [
        lambda paper: paper + b"\n",
        lambda paper: paper[:-1],
        lambda paper: paper[: len(paper) // 2],
        lambda paper: paper + paper[paper.rindex(b"xref") :],
        lambda paper: b"%PDF-1.7\n" + paper,
    ],
)
def test_what_is_added_or_cut_off_is_caught(paper, root, change):
    assert check_seal(change(paper), root).state in CAUGHT


def test_a_paper_without_a_seal_and_what_is_no_paper_are_said(unsealed, root):
    report = check_seal(unsealed, root)
    assert (report.state, "no seal" in report.words) == (SealState.NO_SEAL, True)
    assert check_seal(b"hello", root).state is SealState.UNREADABLE
    assert check_seal(b"", root).state is SealState.UNREADABLE


def test_another_library_s_check_calls_the_paper_whole_and_trusted(paper, ring):
    from asn1crypto import x509
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    der = ring.root().public_bytes(serialization.Encoding.DER)
    context = ValidationContext(trust_roots=[x509.Certificate.load(der)], allow_fetching=False)
    embedded = PdfFileReader(io.BytesIO(paper)).embedded_signatures[0]
    status = validate_pdf_signature(embedded, signer_validation_context=context)
    assert status.intact and status.valid and status.trusted
    assert status.coverage.name == "ENTIRE_FILE"


@pytest.mark.poppler
def test_a_reader_of_pdf_files_shows_a_valid_signature_over_the_whole_file(paper, tmp_path):
    if shutil.which("pdfsig") is None:
        pytest.fail("pdfsig is missing: apt-get install poppler-utils")
    (tmp_path / "paper.pdf").write_bytes(paper)
    said = subprocess.run(
        ["pdfsig", "-nocert", str(tmp_path / "paper.pdf")], capture_output=True, text=True, check=False
    ).stdout
    assert "Signature is Valid" in said
    assert "Total document signed" in said


def test_the_paper_keeps_its_version_its_description_and_its_attachments(paper, unsealed):
    from pypdf import PdfReader

    before, after = PdfReader(io.BytesIO(unsealed)), PdfReader(io.BytesIO(paper))
    assert after.root_object.get("/Version") is None and paper.startswith(b"%PDF-1.7")
    assert "/Extensions" not in after.root_object
    assert after.xmp_metadata.stream.get_data() == before.xmp_metadata.stream.get_data()
    assert after.attachments == before.attachments
    annotation = after.pages[0]["/Annots"][0].get_object()
    assert (list(annotation["/Rect"]), annotation["/F"] & 4) == ([0, 0, 0, 0], 4)  # PDF/A-3, 6.3.2 and 6.3.3


def test_a_public_key_is_read_from_a_certificate_or_bare_and_nothing_else(ring, root):
    bare = root.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    certificate = ring.root().public_bytes(serialization.Encoding.PEM)
    assert public_key_in(bare).public_numbers() == public_key_in(certificate).public_numbers()
    with pytest.raises(SealError):
        public_key_in(b"-----BEGIN NONSENSE-----")
