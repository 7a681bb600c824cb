"""The keys of a shop: one root that stays, and the signing keys that it vouches for.

The root's public part is what a customer or an auditor is given. Private keys are files that their owner
alone may read; they are in no backup of the desk.
"""

import datetime
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

from host.seal.errors import SealError

KEY_BITS = 3072
_EXPONENT = 65537
#: A paper is asked about for longer than a key is used; no reader should call an old one out of date.
_YEARS = 30
_LONGEST_NAME = 64  # of an organisation in X.509 (RFC 5280, appendix A.1: ub-organization-name)
_ROOT = "root"
_OWNER_ONLY_FILE, _OWNER_ONLY_FOLDER = 0o600, 0o700


@dataclass(frozen=True, slots=True, kw_only=True)
class SigningKey:
    """A private key and the certificate of its public part.

    Attributes
    ----------
    number : int
        1 for the first; each rotation takes the next.
    certificate : cryptography.x509.Certificate
    private : RSAPrivateKey
    """

    number: int
    certificate: x509.Certificate
    private: rsa.RSAPrivateKey


class KeyRing:
    """Keys in a folder, made when one is first needed.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def exists(self) -> bool:
        """Tell whether there are keys."""
        return self._file(_ROOT, "pem").exists()

    def make(self, shop: str) -> None:
        """Make root and first signing key, where there are none.

        They are made aside and put in place in one step, so that two that come at once end up with the same.
        """
        if self.exists:
            return
        self.folder.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix="keys-", dir=self.folder.parent))
        try:
            ring = KeyRing(aside)
            root = new_private_key()
            own = root_certificate(root, shop)
            ring.write_private(_ROOT, root)
            ring.write_public(_ROOT, own)
            ring.add_signing_key(1, own, root)
            try:
                os.rename(aside, self.folder)
            except OSError:  # another was quicker
                if not self.exists:
                    raise
        finally:
            shutil.rmtree(aside, ignore_errors=True)

    def root(self) -> x509.Certificate:
        """Public part of the root.

        Raises
        ------
        SealError
            If there is none, or it is damaged.
        """
        return self._public(_ROOT)

    def root_private(self) -> rsa.RSAPrivateKey:
        """Private part of the root."""
        return self._private(_ROOT)

    def signing_key(self) -> SigningKey:
        """The signing key in use: the newest.

        Raises
        ------
        SealError
            If there is none, or it is damaged.
        """
        number = self.newest()
        name = _signing(number)
        return SigningKey(number=number, certificate=self._public(name), private=self._private(name))

    def newest(self) -> int:
        """Number of the newest signing key."""
        numbers = [int(path.stem.split("-")[1]) for path in self.folder.glob("signing-*.pem")]
        if not numbers:
            raise SealError(f"{self.folder} holds no signing key: restore it with `certificate key restore`.")
        return max(numbers)

    def signing_certificates(self) -> tuple[x509.Certificate, ...]:
        """Public parts of all signing keys, oldest first."""
        return tuple(self._public(_signing(number)) for number in range(1, self.newest() + 1))

    def add_signing_key(self, number: int, own: x509.Certificate, root: rsa.RSAPrivateKey) -> None:
        """Make a signing key that the root vouches for."""
        private = new_private_key()
        certificate = signing_certificate(private.public_key(), own, root, number)
        name = _signing(number)
        self.write_private(name, private)
        self.write_public(name, certificate)

    def forget_private(self, number: int) -> None:
        """Delete the private part of a signing key that is not used any more."""
        self._file(_signing(number), "key").unlink(missing_ok=True)

    def write_private(self, name: str, key: rsa.RSAPrivateKey) -> None:
        """Write a private key, for its owner alone, never over another."""
        data = key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        self._write(f"{name}.key", data)

    def write_public(self, name: str, certificate: x509.Certificate) -> None:
        """Write a certificate, never over another."""
        self._write(f"{name}.pem", certificate.public_bytes(serialization.Encoding.PEM))

    def write_statement(self, name: str, data: bytes) -> None:
        """Keep a signed statement beside the keys."""
        self._write(name, data)

    def _write(self, name: str, data: bytes) -> None:
        self.folder.mkdir(mode=_OWNER_ONLY_FOLDER, parents=True, exist_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with open(os.open(self.folder / name, flags, _OWNER_ONLY_FILE), "wb") as file:
            file.write(data)

    def _file(self, name: str, kind: str) -> Path:
        return self.folder / f"{name}.{kind}"

    def _public(self, name: str) -> x509.Certificate:
        path = self._file(name, "pem")
        try:
            return x509.load_pem_x509_certificate(path.read_bytes())
        except (OSError, ValueError) as error:
            raise SealError(f"{path} cannot be read as a certificate ({error}).") from error

    def _private(self, name: str) -> rsa.RSAPrivateKey:
        path = self._file(name, "key")
        try:
            key = serialization.load_pem_private_key(path.read_bytes(), password=None)
        except (OSError, ValueError, TypeError) as error:
            raise SealError(
                f"{path} cannot be read as a private key ({error}). Restore the keys with "
                "`ohmbath certificate key restore`."
            ) from error
        if not isinstance(key, rsa.RSAPrivateKey):
            raise SealError(f"{path} is no RSA key.")
        return key


def new_private_key() -> rsa.RSAPrivateKey:
    """A key of the kind that seals are made with."""
    return rsa.generate_private_key(public_exponent=_EXPONENT, key_size=KEY_BITS)


def root_certificate(key: rsa.RSAPrivateKey, shop: str) -> x509.Certificate:
    """Certificate of a root, by itself."""
    name = _name(shop, "Root of certificates")
    builder = _builder(name, name, key.public_key(), is_root=True)
    return builder.sign(key, hashes.SHA256())


def signing_certificate(
    public: rsa.RSAPublicKey, own: x509.Certificate, root: rsa.RSAPrivateKey, number: int
) -> x509.Certificate:
    """Certificate of a signing key, by the root."""
    shop = own.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)
    name = _name(str(shop[0].value) if shop else "", f"Signing key {number}")
    builder = _builder(name, own.subject, public, is_root=False).add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_public_key(root.public_key()), critical=False
    )
    return builder.sign(root, hashes.SHA256())


def _builder(
    subject: x509.Name, issuer: x509.Name, public: rsa.RSAPublicKey, *, is_root: bool
) -> x509.CertificateBuilder:
    now = datetime.datetime.now(datetime.UTC)
    usage = x509.KeyUsage(
        digital_signature=not is_root,
        content_commitment=not is_root,
        key_cert_sign=is_root,
        crl_sign=is_root,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        # A desk whose clock is a little ahead signs nothing "before" its key.
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=365 * _YEARS))
        .add_extension(x509.BasicConstraints(ca=is_root, path_length=0 if is_root else None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _name(shop: str, what: str) -> x509.Name:
    """Name in a certificate; a shop's name longer than X.509 bears is left out and not cut."""
    plain = " ".join(shop.split())
    named = [x509.NameAttribute(NameOID.ORGANIZATION_NAME, plain)] if 0 < len(plain) <= _LONGEST_NAME else []
    return x509.Name([*named, x509.NameAttribute(NameOID.COMMON_NAME, what)])


def _signing(number: int) -> str:
    return f"signing-{number}"
