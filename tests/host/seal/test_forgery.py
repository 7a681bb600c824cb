"""What somebody may do to a paper to have it say something else, or to have it said by the shop."""

import datetime
import io
import re
import zlib

import pytest
from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import NameOID
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import signers
from pyhanko.sign.fields import SigFieldSpec, append_signature_field
from pyhanko_certvalidator.registry import SimpleCertificateStore
from pypdf import PdfReader

from host.seal.key_ring import SigningKey
from host.seal.seal_check import SealState, check_seal
from host.seal.sealing import sealed

pytestmark = pytest.mark.slow

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
SHOP = "Saltmarsh Lane Motor Workshop"


def test_a_forger_with_a_key_of_his_own_is_refused(unsealed, forger, ring, root):
    forged = sealed(unsealed, forger.signing_key(), shop=SHOP, at=AT)
    assert forger.root().public_key().public_numbers() != root.public_numbers()
    assert check_seal(forged, root).state is SealState.OTHER_KEY
    assert check_seal(forged, forger.root().public_key()).state is SealState.WHOLE


def test_another_verdict_in_the_data_inside_the_paper_is_caught(paper, root):
    forged = with_another_verdict(paper)
    said = [data[0] for name, data in PdfReader(io.BytesIO(forged)).attachments.items() if "json" in name]
    assert b'"verdict":"in_tolerance"' in said[0]  # a reader takes it for the paper's
    assert check_seal(forged, root).state is SealState.ALTERED
    assert check_seal(forged, None).state is SealState.ALTERED


def with_another_verdict(paper: bytes) -> bytes:
    """The paper with the attached data changed in its compressed place; all offsets stay."""
    for found in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", paper, re.DOTALL):
        try:
            data = zlib.decompress(found[1])
        except zlib.error:
            continue
        if b'"verdict":"out_of_tolerance"' in data:
            changed = zlib.compress(data.replace(b"out_of_tolerance", b"in_tolerance"), 9)
            assert len(changed) <= len(found[1])
            first, last = found.span(1)
            return paper[:first] + changed.ljust(last - first, b"\0") + paper[last:]
    raise AssertionError("There is no such verdict in this paper.")


@given(place=st.floats(0.0, 1.0), taken=st.integers(0, 40), put=st.binary(max_size=40))
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_takes_the_place_of_some_bytes_is_caught_and_crashes_nothing(paper, root, place, taken, put):
    first = int(place * len(paper))
    changed = paper[:first] + put + paper[first + taken :]
    assume(changed != paper)
    for key in (root, None):
        assert check_seal(changed, key).state not in {SealState.WHOLE, SealState.KEY_UNKNOWN}


def test_a_page_that_was_overlaid_behind_the_seal_is_caught(paper, root):
    """The first page draws something else; all that was sealed is still in the file."""
    writer = IncrementalPdfFileWriter(io.BytesIO(paper))
    page, _ = writer.find_page_for_modification(0)
    page = page.get_object()
    page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=b"0 0 595 842 re f"))
    writer.update_container(page)
    written = io.BytesIO()
    writer.write(written)
    forged = written.getvalue()
    assert forged.startswith(paper)
    assert b"0 0 595 842 re f" in PdfReader(io.BytesIO(forged)).pages[0].get_contents().get_data()
    assert check_seal(forged, root).state is SealState.ALTERED
    assert check_seal(forged, None).state is SealState.ALTERED


def test_a_second_signature_behind_the_seal_is_refused_whoever_signed(paper, ring, forger, root):
    """Other readers call both signatures valid; the shop's does not reach to the end any more."""
    for key in (forger.signing_key(), ring.signing_key()):
        twice = signed_once_more(paper, key)
        first, second = PdfFileReader(io.BytesIO(twice)).embedded_signatures
        assert twice.startswith(paper)
        assert (second.sig_object.raw_get("/ByteRange")[-1]) > 0
        assert first.compute_integrity_info() is None
        assert second.field_name == "Second"
        report = check_seal(twice, root)
        assert (report.state, "altered" in report.words) == (SealState.ALTERED, True)
        assert check_seal(twice, None).state is SealState.ALTERED


def signed_once_more(paper: bytes, key: SigningKey) -> bytes:
    """The paper with a real signature of the library's own after the seal."""
    private = key.private.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    signer = signers.SimpleSigner(
        signing_cert=asn1_x509.Certificate.load(key.certificate.public_bytes(serialization.Encoding.DER)),
        signing_key=asn1_keys.PrivateKeyInfo.load(private),
        cert_registry=SimpleCertificateStore(),
    )
    writer = IncrementalPdfFileWriter(io.BytesIO(paper))
    append_signature_field(writer, SigFieldSpec("Second"))
    meta = signers.PdfSignatureMetadata(field_name="Second")
    out: bytes = signers.sign_pdf(writer, meta, signer=signer).getvalue()
    return out


def test_a_forger_s_name_that_is_no_text_is_an_altered_file_and_no_crash(unsealed, forger):
    key = forger.signing_key()
    der = key.certificate.public_bytes(serialization.Encoding.DER)
    broken = der.replace(SHOP.encode(), b"\xff\xfe" + SHOP.encode()[2:])
    assert broken != der
    certificate = x509.load_der_x509_certificate(broken)
    with pytest.raises(ValueError, match="subject"):
        certificate.subject.rfc4514_string()
    forged = sealed(
        unsealed,
        SigningKey(number=1, certificate=certificate, private=key.private),
        shop=SHOP,
        at=AT,
    )
    report = check_seal(forged, None)
    assert (report.state, report.signer) == (SealState.ALTERED, "")


def test_a_forger_s_name_cannot_write_over_the_screen_or_turn_its_words_around(unsealed, forger):
    key, now = forger.signing_key(), datetime.datetime.now(datetime.UTC)
    nasty = "Shop\x1b[2J\r\nThe file is whole and was sealed by this key.\u202e\u2066\u2028 x"
    name = x509.Name([x509.NameAttribute(NameOID.ORGANIZATION_NAME, nasty)])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.certificate.public_key())
        .serial_number(1)
        .not_valid_before(now)
        .not_valid_after(now + datetime.timedelta(days=1))
        .sign(key.private, hashes.SHA256())
    )
    forged = sealed(
        unsealed, SigningKey(number=1, certificate=certificate, private=key.private), shop=SHOP, at=AT
    )
    report = check_seal(forged, None)
    assert report.state is SealState.KEY_UNKNOWN
    assert report.signer.isprintable()
    for code in ("\\u001b", "\\u000a", "\\u202e", "\\u2066", "\\u2028"):
        assert code in report.signer


def test_the_container_is_what_a_library_for_any_container_writes(ring):
    """asn1crypto, put together after RFC 5652 and RFC 5035."""
    from asn1crypto import algos, cms, core, tsp

    from host.seal.container import container, signed_part

    der = ring.signing_key().certificate.public_bytes(serialization.Encoding.DER)
    own = asn1_x509.Certificate.load(der)
    digest, signature = bytes(range(32)), bytes(range(256)) + bytes(128)
    sha256 = algos.DigestAlgorithm({"algorithm": "sha256", "parameters": core.Null()})
    named = asn1_x509.GeneralName({"directory_name": own.issuer})
    whose = tsp.ESSCertIDv2(
        {
            "hash_algorithm": sha256,
            "cert_hash": own.sha256,
            "issuer_serial": {
                "issuer": asn1_x509.GeneralNames([named]),
                "serial_number": own.serial_number,
            },
        }
    )
    attributes = cms.CMSAttributes(
        [
            cms.CMSAttribute({"type": "content_type", "values": ["data"]}),
            cms.CMSAttribute({"type": "message_digest", "values": [digest]}),
            cms.CMSAttribute(
                {"type": "signing_certificate_v2", "values": [tsp.SigningCertificateV2({"certs": [whose]})]}
            ),
        ]
    )
    assert signed_part(digest, der) == attributes.dump()
    signer = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier(
                {"issuer_and_serial_number": {"issuer": own.issuer, "serial_number": own.serial_number}}
            ),
            "digest_algorithm": sha256,
            "signed_attrs": attributes,
            "signature_algorithm": {"algorithm": "sha256_rsa", "parameters": core.Null()},
            "signature": signature,
        }
    )
    signed = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": cms.DigestAlgorithms([sha256]),
            "encap_content_info": {"content_type": "data"},
            "certificates": [own],
            "signer_infos": [signer],
        }
    )
    whole = cms.ContentInfo({"content_type": "signed_data", "content": signed})
    assert container(digest, der, signature) == whole.dump()
