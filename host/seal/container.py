"""The signature's container (CMS, RFC 5652) in the one form in which it is written here.

Everything in it follows from three things: the digest of the file, the certificate of the signing key and the
signature. A container that is not, byte for byte, what these three make is not ours. It is put together
here from its few parts: most of the time of a seal went into a library that can write any container. A test
holds it against what that library writes.
"""

import hashlib

from asn1crypto import cms, core, x509

#: Room for the container in a file, in bytes; what is not used is zero.
ROOM = 4096

# Tags of DER (X.690) that a container needs; the last two are the context's own.
_INTEGER, _OCTETS, _SEQUENCE, _SET, _ZERO, _FOUR = 0x02, 0x04, 0x30, 0x31, 0xA0, 0xA4


def signed_part(digest: bytes, certificate: bytes) -> bytes:
    """What the signature is made over: DER of the signed attributes (RFC 5652, 5.4).

    Parameters
    ----------
    digest : bytes
        SHA-256 of the file but for the container.
    certificate : bytes
        DER of the signing key's certificate.
    """
    return _element(_SET, *_attributes(digest, certificate, *_issuer_and_serial(certificate)))


def container(digest: bytes, certificate: bytes, signature: bytes) -> bytes:
    """DER of the container."""
    issuer, serial = _issuer_and_serial(certificate)
    signer = _element(
        _SEQUENCE,
        _VERSION_1,
        _element(_SEQUENCE, issuer, serial),
        _SHA256,
        _element(_ZERO, *_attributes(digest, certificate, issuer, serial)),
        _RSA_WITH_SHA256,
        _element(_OCTETS, signature),
    )
    signed = _element(
        _SEQUENCE,
        _VERSION_1,
        _element(_SET, _SHA256),
        _element(_SEQUENCE, _DATA),
        _element(_ZERO, certificate),
        _element(_SET, signer),
    )
    return _element(_SEQUENCE, _SIGNED_DATA, _element(_ZERO, signed))


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


def _attributes(digest: bytes, certificate: bytes, issuer: bytes, serial: bytes) -> list[bytes]:
    """As PAdES asks for (ETSI EN 319 142-1, 6.3): content type, digest, and whose key it was."""
    named = _element(_SEQUENCE, _element(_SEQUENCE, _element(_FOUR, issuer)), serial)
    own = _element(_SEQUENCE, _element(_OCTETS, hashlib.sha256(certificate).digest()), named)
    whose = _element(_SEQUENCE, _element(_SEQUENCE, own))
    values = ((_CONTENT_TYPE, _DATA), (_MESSAGE_DIGEST, _element(_OCTETS, digest)), (_SIGNING_KEY, whose))
    # DER sorts what stands in a set.
    return sorted(_element(_SEQUENCE, kind, _element(_SET, value)) for kind, value in values)


def _issuer_and_serial(certificate: bytes) -> tuple[bytes, bytes]:
    """DER of both, as they stand in a certificate."""
    signed = x509.Certificate.load(certificate, strict=True)["tbs_certificate"]
    return signed["issuer"].dump(), signed["serial_number"].dump()


def _element(tag: int, *parts: bytes) -> bytes:
    """One element of DER: tag, length in as few bytes as it needs, content."""
    content = b"".join(parts)
    size = len(content)
    if size < 0x80:
        return bytes((tag, size)) + content
    length = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 | len(length))) + length + content


def _named(number: str) -> bytes:
    der: bytes = core.ObjectIdentifier(number).dump()
    return der


_VERSION_1 = _element(_INTEGER, b"\x01")
_NULL: bytes = core.Null().dump()
_DATA, _SIGNED_DATA = _named("1.2.840.113549.1.7.1"), _named("1.2.840.113549.1.7.2")  # RFC 5652, 4 and 5.1
_CONTENT_TYPE, _MESSAGE_DIGEST = _named("1.2.840.113549.1.9.3"), _named("1.2.840.113549.1.9.4")  # 11.1, 11.2
_SIGNING_KEY = _named("1.2.840.113549.1.9.16.2.47")  # RFC 5035, 3: signing-certificate-v2
_SHA256 = _element(_SEQUENCE, _named("2.16.840.1.101.3.4.2.1"), _NULL)  # RFC 5754, 2.2
_RSA_WITH_SHA256 = _element(_SEQUENCE, _named("1.2.840.113549.1.1.11"), _NULL)  # RFC 5754, 3.2
