"""A paper that somebody brings: is it whole, by whose key, and how does it stand at this desk?"""

import hmac
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

from host.certificates.fingerprint import fingerprint
from host.seal.seal_check import SealReport, SealState, check_seal
from host.store import Store
from host.store.certificate_standing import Standing
from host.store.certificates import UnknownCertificateError
from host.store.chain_link import sha256_of

#: Many times what a paper of this desk takes. [byte]
LARGEST_PAPER = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperAtDesk:
    """What a desk finds about a file.

    Attributes
    ----------
    report : SealReport
    number : str or None
        Number under which this desk issued the very same bytes; None where it did not.
    standing : Standing or None
        How that certificate stands now.
    """

    report: SealReport
    number: str | None = None
    standing: Standing | None = None


def paper_at_desk(store: Store, file: bytes, key: RSAPublicKey | None = None) -> PaperAtDesk:
    """Check a file and look for it among what the desk has issued.

    Parameters
    ----------
    store : Store
    file : bytes
    key : RSAPublicKey, optional
        Public key to check by; without it the desk's own is taken.

    Raises
    ------
    SealError
        If the desk's own key is needed and damaged.
    """
    keys = store.seal.keys
    asked = key or (keys.root_public() if keys.exists else None)
    report = check_seal(file, asked)
    number = store.certificates.number_of(sha256_of(file))
    if number is None:
        return PaperAtDesk(report=report)
    if report.state is SealState.NO_SEAL or (report.state is SealState.OTHER_KEY and key is None):
        report = _known_by_its_digest(report)
    return PaperAtDesk(report=report, number=number, standing=store.certificates.standing(number))


def standing_by_fingerprint(store: Store, number: str, print_: str) -> Standing | None:
    """How a certificate stands, for who names its number and the short fingerprint on it.

    None both where there is no such number and where the fingerprint is another's, so that numbers cannot be
    tried out.

    Parameters
    ----------
    store : Store
    number : str
    print_ : str
        As somebody types it: in groups or not, in capitals or not.
    """
    given = "".join(one for one in print_.upper() if one.isalnum())
    if not number.isprintable():  # a server's store takes no such text
        return None
    try:
        data = store.certificates.data_of(number)
    except UnknownCertificateError:
        return None
    own = fingerprint(data).replace("-", "")
    if not hmac.compare_digest(own.encode("ascii"), given.encode("utf-8")):
        return None
    return store.certificates.standing(number)


def _known_by_its_digest(report: SealReport) -> SealReport:
    """Whole, as the desk kept the same bytes; but no key says so to anybody else."""
    if report.state is SealState.NO_SEAL:
        words = "The file is byte for byte what this desk issued, but bears no seal: no key vouches for it."
    else:
        words = "The file is byte for byte what this desk issued, but its key is not the one of now."
    return SealReport(state=SealState.KEY_UNKNOWN, words=words)
