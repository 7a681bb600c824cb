"""The signature's container (CMS, RFC 5652) in the one form in which it is written here.

Everything in it follows from three things: the digest of the file, the certificate of the signing key and the
signature. A container that is not, byte for byte, what these three make is not ours.
"""

import hashlib

from asn1crypto import algos, cms, core, tsp, x509

#: Room for the container in a file, in bytes; what is not used is zero.
ROOM = 4096


def signed_part(digest: bytes, certificate: bytes) -> bytes:
    """What the signature is made over: DER of the signed attributes (RFC 5652, 5.4).

    Parameters
    ----------
    digest : bytes
        SHA-256 of the file but for the container.
    certificate : bytes
        DER of the signing key's certificate.
    """
    signed: bytes = _attributes(digest, x509.Certificate.load(certificate, strict=True)).dump()
    return signed


def container(digest: bytes, certificate: bytes, signature: bytes) -> bytes:
    """DER of the container."""
    own = x509.Certificate.load(certificate, strict=True)
    signer = cms.SignerInfo(
        {
            "version": "v1",
            "sid": cms.SignerIdentifier({"issuer_and_serial_number": _issuer_and_serial(own)}),
            "digest_algorithm": _sha256(),
            "signed_attrs": _attributes(digest, own),
            "signature_algorithm": {"algorithm": "sha256_rsa", "parameters": core.Null()},
            "signature": signature,
        }
    )
    signed = cms.SignedData(
        {
            "version": "v1",
            "digest_algorithms": cms.DigestAlgorithms([_sha256()]),
            "encap_content_info": {"content_type": "data"},
            "certificates": [own],
            "signer_infos": [signer],
        }
    )
    der: bytes = cms.ContentInfo({"content_type": "signed_data", "content": signed}).dump()
    return der


def read(der: bytes) -> tuple[bytes, bytes]:
    """Certificate and signature of a container.

    Raises
    ------
    ValueError, TypeError, KeyError, AttributeError, IndexError
        If it is no container; whoever calls takes them all.
    """
    signed = cms.ContentInfo.load(der, strict=True)["content"]
    certificate: bytes = signed["certificates"][0].chosen.dump()
    signature: bytes = signed["signer_infos"][0]["signature"].native
    return certificate, signature


def _attributes(digest: bytes, own: x509.Certificate) -> cms.CMSAttributes:
    """As PAdES asks for (ETSI EN 319 142-1, 6.3): content type, digest, and whose key it was."""
    identifier = tsp.ESSCertIDv2(
        {
            "hash_algorithm": _sha256(),
            "cert_hash": hashlib.sha256(own.dump()).digest(),
            "issuer_serial": {
                "issuer": x509.GeneralNames([x509.GeneralName({"directory_name": own.issuer})]),
                "serial_number": own.serial_number,
            },
        }
    )
    return cms.CMSAttributes(
        [
            cms.CMSAttribute({"type": "content_type", "values": ["data"]}),
            cms.CMSAttribute({"type": "message_digest", "values": [digest]}),
            cms.CMSAttribute(
                {
                    "type": "signing_certificate_v2",
                    "values": [tsp.SigningCertificateV2({"certs": [identifier]})],
                }
            ),
        ]
    )


def _issuer_and_serial(own: x509.Certificate) -> cms.IssuerAndSerialNumber:
    return cms.IssuerAndSerialNumber({"issuer": own.issuer, "serial_number": own.serial_number})


def _sha256() -> algos.DigestAlgorithm:
    return algos.DigestAlgorithm({"algorithm": "sha256", "parameters": core.Null()})
