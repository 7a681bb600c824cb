"""Keeping and changing the shop's keys: a copy under a passphrase, and a new signing key in time."""

import base64
import datetime
import json
import os
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa

from host.errors import DeskError
from host.seal.errors import SealError
from host.seal.key_ring import KeyRing, SigningKey, statement_name

_FORMAT = "ohmbath keys"
SHORTEST_PASSPHRASE = 12


def copy_of_keys(ring: KeyRing, passphrase: str) -> bytes:
    """Everything that is needed to go on sealing elsewhere; private keys are encrypted (PKCS #8).

    Raises
    ------
    SealError
        If there are no keys, or the passphrase is too short.
    """
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise SealError(
            f"The passphrase has {len(passphrase)} characters; {SHORTEST_PASSPHRASE} is the least."
        )
    key = ring.signing_key()
    kept = {
        "format": _FORMAT,
        "version": 1,
        "root": _pem(ring.root()),
        "root_private": _encrypted(ring.root_private(), passphrase),
        "signing": [_pem(certificate) for certificate in ring.signing_certificates()],
        "signing_private": _encrypted(key.private, passphrase),
        "rotations": {path.name: path.read_text("utf-8") for path in ring.statements()},
    }
    return json.dumps(kept, indent=1).encode("utf-8")


def take_copy(ring: KeyRing, data: bytes, passphrase: str) -> None:
    """Put the keys of a copy where there are none.

    Raises
    ------
    SealError
        If there are keys already, it is no copy or damaged, or the passphrase is another.
    """
    if ring.exists:
        raise SealError(f"{ring.folder} holds keys already, and none is written over. Move that folder away.")
    try:
        kept = json.loads(data)
        if kept["format"] != _FORMAT:
            raise KeyError("format")
        root = x509.load_pem_x509_certificate(kept["root"].encode("ascii"))
        signing = [x509.load_pem_x509_certificate(text.encode("ascii")) for text in kept["signing"]]
        sealed_root, sealed_signing = kept["root_private"], kept["signing_private"]
        said = {
            number: str(kept["rotations"][statement_name(number)]).encode("utf-8")
            for number in range(2, len(signing) + 1)
            if statement_name(number) in kept["rotations"]
        }
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise SealError("This file is no copy of keys that `certificate key backup` wrote.") from error
    root_private = _decrypted(sealed_root, passphrase)
    signing_private = _decrypted(sealed_signing, passphrase)
    _refuse_what_does_not_belong_together(root, root_private, signing, signing_private)

    def fill(aside: KeyRing) -> None:
        aside.write_private("root", root_private)
        for number, certificate in enumerate(signing, start=1):
            aside.write_public(f"signing-{number}", certificate)
        aside.write_private(f"signing-{len(signing)}", signing_private)
        for number, statement in said.items():
            aside.write_statement(number, statement)
        aside.write_public("root", root)

    if not ring.put_in_place(fill):
        raise SealError(f"{ring.folder} has got other keys meanwhile, and none is written over.")


def rotate(ring: KeyRing) -> Path:
    """Make a new signing key; the old one says so under its own signature, and its private part is deleted.

    The root stays, so every paper of before and after is verified with the same public key. Cut off at any
    place, the old key or the new one is in use and the next time does it whole: the new key counts from its
    certificate on, which is written after the old one's statement.

    Returns
    -------
    Path
        The signed statement.

    Raises
    ------
    SealError
        If there are no keys yet, or another program is changing them.
    """
    if not ring.exists:
        raise SealError(
            f"{ring.folder} holds no keys yet: they are made with the first certificate, or put there "
            "with `ohmbath certificate key restore`."
        )
    with ring.changing():
        old = ring.signing_key()
        ring.forget_privates_but(old.number)
        number = old.number + 1

        def say_so(new: x509.Certificate) -> None:
            ring.write_statement(number, _statement(old, new, number))

        ring.add_signing_key(number, ring.root(), ring.root_private(), before=say_so)
        ring.forget_privates_but(number)
    return ring.folder / statement_name(number)


def _statement(old: SigningKey, new: x509.Certificate, number: int) -> bytes:
    """What the old key says of the new one, with its signature."""
    said = json.dumps(
        {
            "said": f"Signing key {number} takes the place of signing key {old.number}.",
            "at": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            "old_sha256": old.certificate.fingerprint(hashes.SHA256()).hex(),
            "new_sha256": new.fingerprint(hashes.SHA256()).hex(),
        },
        sort_keys=True,
    )
    signature = base64.b64encode(old.sign(said.encode("utf-8"))).decode("ascii")
    return json.dumps({"statement": said, "signature_by_old_key": signature}, indent=1).encode("utf-8")


def _refuse_what_does_not_belong_together(
    root: x509.Certificate,
    root_private: rsa.RSAPrivateKey,
    signing: list[x509.Certificate],
    signing_private: rsa.RSAPrivateKey,
) -> None:
    """Each private key is that of its certificate, and the root vouches for every signing key."""
    pairs = [(root, root_private), (signing[-1], signing_private)] if signing else []
    belongs = bool(pairs) and all(_is_key_of(certificate, private) for certificate, private in pairs)
    try:
        for certificate in signing:
            certificate.verify_directly_issued_by(root)
    except (ValueError, TypeError, InvalidSignature):
        belongs = False
    if not belongs:
        raise SealError(
            "The keys of this copy do not belong together: it is damaged, or was changed. Take another copy."
        )


def _is_key_of(certificate: x509.Certificate, private: rsa.RSAPrivateKey) -> bool:
    public = certificate.public_key()
    own = private.public_key().public_numbers()
    return isinstance(public, rsa.RSAPublicKey) and public.public_numbers() == own


def write_owner_only(path: Path, data: bytes) -> None:
    """Write a new file that its owner alone may read.

    Raises
    ------
    DeskError
        If it is there already or cannot be written.
    """
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with open(os.open(path, flags, 0o600), "wb") as file:
            file.write(data)
    except OSError as error:
        raise DeskError(f"{path} cannot be written ({error.strerror}). Choose another name.") from error


def _pem(certificate: x509.Certificate) -> str:
    return certificate.public_bytes(serialization.Encoding.PEM).decode("ascii")


def _encrypted(key: rsa.RSAPrivateKey, passphrase: str) -> str:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(passphrase.encode("utf-8")),
    ).decode("ascii")


def _decrypted(pem: str, passphrase: str) -> rsa.RSAPrivateKey:
    try:
        key = serialization.load_pem_private_key(pem.encode("ascii"), passphrase.encode("utf-8"))
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise SealError("The passphrase is not the one of this copy, or the copy is damaged.") from error
    if not isinstance(key, rsa.RSAPrivateKey):
        raise SealError("This copy holds a key of another kind.")
    return key
