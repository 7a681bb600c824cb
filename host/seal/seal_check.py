"""Is a paper whole, and sealed by whose key? From the file and a public key alone.

Nothing of the file is trusted, and no reader of PDF files is asked: the place of the seal is found in the
bytes, every byte of the file is either under the signature or in the container, and the container must be,
byte for byte, what its digest, certificate and signature make (`host.seal.container`).
"""

import hashlib
import re
from dataclasses import dataclass
from enum import StrEnum

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding, rsa

from host.seal.container import container, read, signed_part
from host.seal.errors import SealError

_PLACE = re.compile(rb"/ByteRange \[0 ([1-9][0-9]{0,11}) ([1-9][0-9]{0,11}) ([1-9][0-9]{0,11})\] *\n")
_BEFORE_CONTAINER = b"/Contents "
_HEX = re.compile(rb"[0-9A-F]+")
_LONGEST_NAME = 200
_PEM_BLOCK = re.compile(rb"-----BEGIN ([A-Z0-9 ]+)-----")
_GIVE_PUBLIC = "Give the shop's public key as 'ohmbath certificate key --public' prints it there."


class SealState(StrEnum):
    """What a check of a file found."""

    WHOLE = "whole"  # and sealed by the key that was given
    ALTERED = "altered"
    OTHER_KEY = "other_key"  # whole, but sealed by another key than the one that was given
    NO_SEAL = "no_seal"  # nothing in it shows whether it was altered
    UNREADABLE = "unreadable"  # no PDF file
    KEY_UNKNOWN = "key_unknown"  # whole, by a key that nobody vouched for


@dataclass(frozen=True, slots=True, kw_only=True)
class SealReport:
    """What a check of a file found, and why.

    Attributes
    ----------
    state : SealState
    words : str
        For a person.
    signer : str
        Name in the signing key's certificate, safe to print; empty where the file is not whole. Without a key
        nobody vouches for it: whoever makes a key writes there what he likes.
    """

    state: SealState
    words: str
    signer: str = ""


class _NotOursError(Exception):
    """The file is not as it was sealed; the message says in what."""

    state = SealState.ALTERED


class _NoSealError(_NotOursError):
    """There is no seal in it."""

    state = SealState.NO_SEAL


class _OtherKeyError(_NotOursError):
    """Somebody else's key sealed it."""

    state = SealState.OTHER_KEY


def check_seal(file: bytes, key: rsa.RSAPublicKey | None) -> SealReport:
    """Check a file.

    Parameters
    ----------
    file : bytes
    key : RSAPublicKey or None
        Of the shop's root, or a signing key itself; None where none is at hand.
    """
    if not file.startswith(b"%PDF-"):
        return SealReport(state=SealState.UNREADABLE, words="This is no PDF file.")
    try:
        certificate, signer = _sealed_by(file)
        if key is not None:
            _refuse_other_key(certificate, key)
    except _NotOursError as error:
        return SealReport(state=error.state, words=str(error))
    if key is None:
        words = (
            "The file is whole, as it was sealed, but by whom is not known: ask the shop for its public key "
            "and give it with --key."
        )
        return SealReport(state=SealState.KEY_UNKNOWN, words=words, signer=signer)
    return SealReport(
        state=SealState.WHOLE, words="The file is whole and was sealed by this key.", signer=signer
    )


def public_key_in(data: bytes) -> rsa.RSAPublicKey:
    """Public key of a PEM file: a certificate's or a bare one.

    Raises
    ------
    SealError
        If there is none in it, more than one, or one that is no key of a seal; says what to give.
    """
    blocks = _PEM_BLOCK.findall(data)
    if any(kind.endswith(b"PRIVATE KEY") for kind in blocks):
        raise SealError(f"This file holds a private key, which nobody else should have. {_GIVE_PUBLIC}")
    if len(blocks) > 1:
        raise SealError(f"This file holds {len(blocks)} keys, and one is asked for. {_GIVE_PUBLIC}")
    if not blocks:
        found = "This file is empty." if not data.strip() else "There is no public key in this file."
        raise SealError(f"{found} {_GIVE_PUBLIC}")
    try:
        if blocks[0] == b"CERTIFICATE":
            key = x509.load_pem_x509_certificate(data).public_key()
        else:
            key = serialization.load_pem_public_key(data)  # type: ignore[assignment]
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise SealError(f"The key in this file is damaged, or none of a shop. {_GIVE_PUBLIC}") from error
    if not isinstance(key, rsa.RSAPublicKey):
        raise SealError(
            f"The public key of a shop's seal is an RSA key; this one is of another kind. {_GIVE_PUBLIC}"
        )
    return key


def _sealed_by(file: bytes) -> tuple[x509.Certificate, str]:
    """Certificate of the key that sealed a whole file, and the name in it."""
    gap_from, gap_to = _gap(file)
    der = _container_in(file[gap_from:gap_to])
    digest = hashlib.sha256(file[:gap_from] + file[gap_to:]).digest()
    if digest not in der:  # most alterations end here, before anything of the file is taken apart
        raise _NotOursError("The file was altered after it was sealed.")
    try:
        own, signature = read(der)
        expected = container(digest, own, signature)
        certificate = x509.load_der_x509_certificate(own)
        key = certificate.public_key()
        signer = _safe_to_print(certificate.subject.rfc4514_string())
    except Exception as error:  # noqa: BLE001  whatever a broken container does to its readers
        raise _NotOursError("The file was altered: its seal cannot be read.") from error
    if expected != der or not isinstance(key, rsa.RSAPublicKey):
        raise _NotOursError("The file was altered after it was sealed.")
    try:
        key.verify(signature, signed_part(digest, own), padding.PKCS1v15(), hashes.SHA256())
    except (InvalidSignature, ValueError) as error:
        raise _NotOursError("The file was altered after it was sealed.") from error
    return certificate, signer


def _safe_to_print(name: str) -> str:
    """A name as a forger may have written it, on one line and in the order in which it is stored.

    Control characters, line ends and those that turn the direction of writing are written as their code.
    """
    shown = "".join(one if one.isprintable() else f"\\u{ord(one):04x}" for one in name[:_LONGEST_NAME])
    return shown if len(name) <= _LONGEST_NAME else f"{shown} …"


def _gap(file: bytes) -> tuple[int, int]:
    """Where the container begins and ends; all else is under the signature."""
    if file.count(b"/ByteRange") == 0:
        raise _NoSealError(
            "The file bears no seal: it was issued before there was one, is a draft, or somebody took it off."
        )
    places = _PLACE.findall(file)
    if len(places) != 1 or file.count(b"/ByteRange") != 1:
        raise _NotOursError("The file was altered: it does not have one seal as it is written here.")
    gap_from, gap_to, rest = (int(number) for number in places[0])
    if not len(_BEFORE_CONTAINER) < gap_from < gap_to < len(file) or gap_to + rest != len(file):
        raise _NotOursError("The file was altered: the seal does not cover it to its last byte.")
    if not file[:gap_from].endswith(_BEFORE_CONTAINER):
        raise _NotOursError("The file was altered: the seal is not where it should be.")
    return gap_from, gap_to


def _container_in(gap: bytes) -> bytes:
    """The container, out of ``<`` hex, zeros ``>``: capital digits, and nothing behind it but zeros."""
    digits = gap[1:-1]
    if gap[:1] != b"<" or gap[-1:] != b">" or len(digits) % 2 or not _HEX.fullmatch(digits):
        raise _NotOursError("The file was altered: its seal is not written as it should be.")
    raw = bytes.fromhex(digits.decode("ascii"))
    length = _der_length(raw)
    if any(raw[length:]):
        raise _NotOursError("The file was altered: there is something behind its seal.")
    return raw[:length]


def _der_length(raw: bytes) -> int:
    """Length of the one DER element at the beginning, of which two bytes give the length."""
    if len(raw) < 4 or raw[:2] != b"\x30\x82":
        raise _NotOursError("The file was altered: its seal cannot be read.")
    return min(4 + int.from_bytes(raw[2:4], "big"), len(raw))


def _refuse_other_key(certificate: x509.Certificate, key: rsa.RSAPublicKey) -> None:
    own = certificate.public_key()
    if isinstance(own, rsa.RSAPublicKey) and own.public_numbers() == key.public_numbers():
        return
    try:
        is_rsa = certificate.signature_algorithm_oid == x509.SignatureAlgorithmOID.RSA_WITH_SHA256
        if not is_rsa:
            raise InvalidSignature
        key.verify(
            certificate.signature, certificate.tbs_certificate_bytes, padding.PKCS1v15(), hashes.SHA256()
        )
    except (InvalidSignature, ValueError) as error:
        raise _OtherKeyError("The file was sealed by another key than the one given.") from error
