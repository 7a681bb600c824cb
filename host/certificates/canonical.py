"""The certificate as canonical JSON."""

from host.certificates.certificate import Certificate


def canonical_json(certificate: Certificate) -> bytes:
    """Bytes of the certificate's data."""
    raise NotImplementedError


def certificate_from_canonical(data: bytes) -> Certificate:
    """Certificate that the bytes were made from."""
    raise NotImplementedError
