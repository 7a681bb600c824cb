"""The keys of a shop: one root that stays, and the signing keys that it vouches for.

The root's public part is what a customer or an auditor is given. Private keys are files that their owner
alone may read; they are in no backup of the desk.
"""

import datetime
import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.x509.oid import NameOID

from host.file_lock import take_lock
from host.seal.errors import SealError

KEY_BITS = 3072
_EXPONENT = 65537
#: A paper is asked about for longer than a key is used; no reader should call an old one out of date.
_YEARS = 30
_LONGEST_NAME = 64  # of an organisation in X.509 (RFC 5280, appendix A.1: ub-organization-name)
_ROOT = "root"
_OWNER_ONLY_FILE, _OWNER_ONLY_FOLDER = 0o600, 0o700
#: How long one program waits for another that is changing the keys. [s]
WAIT_S = 30.0


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

    def sign(self, said: bytes) -> bytes:
        """Sign, and make sure that the certificate's key verifies it: a damaged key seals nothing.

        Raises
        ------
        SealError
            If the key is damaged, or not the one of its certificate.
        """
        public = self.certificate.public_key()
        try:
            signature = self.private.sign(said, padding.PKCS1v15(), hashes.SHA256())
            if not isinstance(public, rsa.RSAPublicKey):
                raise InvalidSignature
            public.verify(signature, said, padding.PKCS1v15(), hashes.SHA256())
        except (InvalidSignature, ValueError) as error:
            raise SealError(
                f"Signing key {self.number} is damaged, or not the key of its certificate. Restore the keys "
                "with `ohmbath certificate key restore`."
            ) from error
        return signature


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

        Two that come at once end up with the same.

        Raises
        ------
        SealError
            If the shop has no name: it stands in the root for good.
        """
        if not self.exists and not shop.strip():
            raise SealError(
                "The keys bear the shop's name for good, and it is not named yet. Name it first: ohmbath "
                'settings set shop_name "…", or on the page Settings.'
            )

        def fill(ring: KeyRing) -> None:
            root = new_private_key()
            own = root_certificate(root, shop)
            ring.write_private(_ROOT, root)
            ring.write_public(_ROOT, own)
            ring.add_signing_key(1, own, root)

        if not self.exists:
            self.put_in_place(fill)

    def put_in_place(self, fill: Callable[["KeyRing"], None]) -> bool:
        """Have a ring filled aside and put in place in one step, so that there is never half of one.

        Parameters
        ----------
        fill : callable
            Writes all keys into the ring that it is given.

        Returns
        -------
        bool
            False where another was quicker; its keys stay.

        Raises
        ------
        SealError
            If something else stands in the place of the keys.
        """
        with self.changing():
            if self.exists:
                return False
            aside = self.folder.with_name(f"{self.folder.name}-being-made")
            shutil.rmtree(aside, ignore_errors=True)  # of a program that was cut off
            try:
                aside.mkdir(mode=_OWNER_ONLY_FOLDER)
                fill(KeyRing(aside))
                os.rename(aside, self.folder)
            except OSError as error:
                raise SealError(
                    f"The keys cannot be put into {self.folder} ({error.strerror}). If it holds something "
                    "that is no whole set of keys, move it away and try again."
                ) from error
            finally:
                shutil.rmtree(aside, ignore_errors=True)
        return True

    @contextmanager
    def changing(self) -> Iterator[None]:
        """Keep other programs from changing the keys meanwhile; waits until they have done.

        Raises
        ------
        SealError
            If they have not within half a minute.
        """
        self.folder.parent.mkdir(parents=True, exist_ok=True)
        lock = self.folder.with_name(f"{self.folder.name}.lock")
        descriptor = os.open(lock, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), _OWNER_ONLY_FILE)
        end_s = time.monotonic() + WAIT_S
        try:
            while True:
                try:
                    take_lock(descriptor)
                    break
                except OSError as error:
                    if time.monotonic() > end_s:
                        raise SealError(
                            "Another program is changing the keys. Try again in a moment."
                        ) from error
                    time.sleep(0.05)
            yield
        finally:
            os.close(descriptor)

    def root(self) -> x509.Certificate:
        """Public part of the root.

        Raises
        ------
        SealError
            If there is none, or it is damaged.
        """
        return self._public(_ROOT)

    def root_public(self) -> rsa.RSAPublicKey:
        """Public key of the root: what a customer is given.

        Raises
        ------
        SealError
            If there is none, or it is damaged.
        """
        public = self.root().public_key()
        if not isinstance(public, rsa.RSAPublicKey):
            raise SealError(f"{self._file(_ROOT, 'pem')} holds no RSA key.")
        return public

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
        try:
            return self._signing_key(number)
        except SealError:
            if self.newest() == number:
                raise
        return self._signing_key(self.newest())  # it was changed just now

    def newest(self) -> int:
        """Number of the newest signing key."""
        numbers = [int(path.stem.split("-")[1]) for path in self.folder.glob("signing-*.pem")]
        if not numbers:
            raise SealError(f"{self.folder} holds no signing key: restore it with `certificate key restore`.")
        return max(numbers)

    def signing_certificates(self) -> tuple[x509.Certificate, ...]:
        """Public parts of all signing keys, oldest first."""
        return tuple(self._public(_signing(number)) for number in range(1, self.newest() + 1))

    def add_signing_key(
        self,
        number: int,
        own: x509.Certificate,
        root: rsa.RSAPrivateKey,
        before: Callable[[x509.Certificate], None] = lambda certificate: None,
    ) -> None:
        """Make a signing key that the root vouches for.

        It is in use once its certificate is written, which comes last.

        Parameters
        ----------
        number : int
        own : x509.Certificate
            The root's.
        root : RSAPrivateKey
        before : callable, optional
            Is given the certificate and does what must be done before the key is in use.
        """
        private = new_private_key()
        certificate = signing_certificate(private.public_key(), own, root, number)
        name = _signing(number)
        self.write_private(name, private)
        before(certificate)
        self.write_public(name, certificate)

    def forget_privates_but(self, number: int) -> None:
        """Delete the private parts of all signing keys but one: old ones, and one never taken into use."""
        for path in self.folder.glob("signing-*.key"):
            if path != self._file(_signing(number), "key"):
                path.unlink(missing_ok=True)

    def write_private(self, name: str, key: rsa.RSAPrivateKey) -> None:
        """Write a private key, for its owner alone, never over another."""
        data = key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        self._write(f"{name}.key", data)

    def write_public(self, name: str, certificate: x509.Certificate) -> None:
        """Write a certificate, never over another."""
        self._write(f"{name}.pem", certificate.public_bytes(serialization.Encoding.PEM))

    def write_statement(self, number: int, data: bytes) -> None:
        """Keep what the key of before said of one; what was said of one never taken into use goes."""
        name = statement_name(number)
        (self.folder / name).unlink(missing_ok=True)
        self._write(name, data)

    def statements(self) -> tuple[Path, ...]:
        """Files of what each signing key but the first was said to be by the one before, oldest first."""
        files = (self.folder / statement_name(number) for number in range(2, self.newest() + 1))
        return tuple(path for path in files if path.exists())

    def _write(self, name: str, data: bytes) -> None:
        """Write a file whole or not at all, and never over another."""
        path, part = self.folder / name, self.folder / f"{name}.part"
        if path.exists():
            raise FileExistsError(f"{path} is there already.")
        part.unlink(missing_ok=True)  # of a program that was cut off
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with open(os.open(part, flags, _OWNER_ONLY_FILE), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.rename(part, path)

    def _signing_key(self, number: int) -> SigningKey:
        name = _signing(number)
        return SigningKey(number=number, certificate=self._public(name), private=self._private(name))

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
            # Its own check takes most of a tenth of a second a paper; `SigningKey.sign` makes a sharper one.
            key = serialization.load_pem_private_key(
                path.read_bytes(), password=None, unsafe_skip_rsa_key_validation=True
            )
        except (OSError, ValueError, TypeError) as error:
            raise SealError(
                f"{path} cannot be read as a private key ({error}). Restore the keys with "
                "`ohmbath certificate key restore`."
            ) from error
        if not isinstance(key, rsa.RSAPrivateKey):
            raise SealError(f"{path} is no RSA key.")
        return key


def statement_name(number: int) -> str:
    """File in which a signing key is named by the one of before."""
    return f"rotation-{number}.json"


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
