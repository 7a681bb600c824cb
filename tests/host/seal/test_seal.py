"""The seal of a paper: whole or altered, by whose key, and what other people's readers say."""

import datetime
import io
import json
import random
import shutil
import stat
import subprocess

import pytest
from cryptography.hazmat.primitives import serialization

from host.certificates.pdf import render_pdf
from host.seal import key_ring
from host.seal.errors import SealError
from host.seal.key_care import copy_of_keys, rotate, take_copy
from host.seal.key_ring import KeyRing
from host.seal.seal_check import SealState, check_seal, public_key_in
from host.seal.sealing import sealed

pytestmark = pytest.mark.slow

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
CAUGHT = {SealState.ALTERED, SealState.UNREADABLE}
SHOP = "Saltmarsh Lane Motor Workshop"


@pytest.fixture(scope="module")
def unsealed(sample) -> bytes:
    return render_pdf(sample)


@pytest.fixture(scope="module")
def ring(tmp_path_factory) -> KeyRing:
    made = KeyRing(tmp_path_factory.mktemp("shop") / "keys")
    made.make(SHOP)
    return made


@pytest.fixture(scope="module")
def paper(unsealed, ring) -> bytes:
    return sealed(unsealed, ring.signing_key(), shop=SHOP, at=AT)


@pytest.fixture(scope="module")
def root(ring):
    return ring.root().public_key()


@pytest.fixture
def forger(tmp_path) -> KeyRing:
    made = KeyRing(tmp_path / "forged")
    key_ring.new_private_key()  # not the shop's own
    key_ring.new_private_key()
    made.make(SHOP)
    return made


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


def test_a_flipped_bit_in_every_structural_byte_is_caught_also_without_a_key(paper, unsealed, root):
    """All that the seal added, so also every byte of its dictionary, container, padding, table and end."""
    own = paper.index(b"/Contents <", len(unsealed))
    places = [*range(0, 20), *range(own - 400, own + 40), *range(own + 2 * 4096 - 200, len(paper))]
    places += range(own + 40, own + 2 * 4096 - 200, 7)
    for number, place in enumerate(places):
        altered = flipped(paper, 8 * place + number % 8)
        key = root if number % 2 else None
        assert check_seal(altered, key).state in CAUGHT, place


def test_a_forger_with_a_key_of_his_own_is_refused(unsealed, forger, ring, root):
    forged = sealed(unsealed, forger.signing_key(), shop=SHOP, at=AT)
    assert forger.root().public_key().public_numbers() != root.public_numbers()
    assert check_seal(forged, root).state is SealState.ALTERED
    assert check_seal(forged, forger.root().public_key()).state is SealState.WHOLE


@pytest.mark.parametrize(
    "change",
    [
        lambda paper: paper + b"\n",
        lambda paper: paper[:-1],
        lambda paper: paper[: len(paper) // 2],
        lambda paper: paper + paper[paper.rindex(b"xref") :],
        lambda paper: paper.replace(b"in tolerance", b"IN TOLERANCE") + b"% changed",
        lambda paper: b"%PDF-1.7\n" + paper,
    ],
)
def test_what_is_added_or_cut_off_is_caught(paper, root, change):
    assert check_seal(change(paper), root).state in CAUGHT


def test_an_update_behind_the_seal_is_caught(paper, root):
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    writer = IncrementalPdfFileWriter(io.BytesIO(paper))
    writer.update_root()
    written = io.BytesIO()
    writer.write(written)
    assert check_seal(written.getvalue(), root).state in CAUGHT


def test_a_paper_without_a_seal_and_what_is_no_paper_are_said(unsealed, root):
    report = check_seal(unsealed, root)
    assert (report.state, "no seal" in report.words) == (SealState.ALTERED, True)
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


def test_private_keys_are_their_owner_s_alone(ring):
    for path in ring.folder.glob("*.key"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(ring.folder.stat().st_mode) == 0o700


def test_a_new_signing_key_breaks_no_paper_and_the_old_one_says_so(tmp_path, unsealed):
    ring = KeyRing(tmp_path / "keys")
    ring.make(SHOP)
    root, old = ring.root().public_key(), ring.signing_key()
    before = sealed(unsealed, old, shop=SHOP, at=AT)
    statement = json.loads(rotate(ring).read_text("utf-8"))
    after = sealed(unsealed, ring.signing_key(), shop=SHOP, at=AT)
    assert ring.signing_key().number == 2
    assert not (ring.folder / "signing-1.key").exists()
    assert check_seal(before, root).state is SealState.WHOLE
    assert check_seal(after, root).state is SealState.WHOLE
    import base64

    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import padding

    old.certificate.public_key().verify(
        base64.b64decode(statement["signature_by_old_key"]),
        statement["statement"].encode("utf-8"),
        padding.PKCS1v15(),
        hashes.SHA256(),
    )


def test_a_copy_of_the_keys_goes_on_sealing_elsewhere_under_its_passphrase_alone(
    tmp_path, unsealed, ring, root
):
    data = copy_of_keys(ring, "correct horse battery")
    other = KeyRing(tmp_path / "keys")
    with pytest.raises(SealError, match="passphrase"):
        take_copy(other, data, "wrong horse battery")
    assert not other.exists
    take_copy(other, data, "correct horse battery")
    assert check_seal(sealed(unsealed, other.signing_key(), shop=SHOP, at=AT), root).state is SealState.WHOLE
    with pytest.raises(SealError, match="written over"):
        take_copy(other, data, "correct horse battery")
    assert b"BEGIN PRIVATE KEY" not in data


def test_a_public_key_is_read_from_a_certificate_or_bare_and_nothing_else(ring, root):
    bare = root.public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    certificate = ring.root().public_bytes(serialization.Encoding.PEM)
    assert public_key_in(bare).public_numbers() == public_key_in(certificate).public_numbers()
    with pytest.raises(SealError):
        public_key_in(b"-----BEGIN NONSENSE-----")
