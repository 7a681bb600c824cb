"""A paper that somebody brings: is it whole, by whose key, and how does it stand at this desk?"""

from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

from host.seal.seal_check import SealReport, SealState, check_seal
from host.store import Store
from host.store.certificate_standing import Standing
from host.store.chain_link import sha256_of


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
    if report.state is SealState.ALTERED and (key is None or not report.bears_seal):
        report = _known_by_its_digest(report)
    return PaperAtDesk(report=report, number=number, standing=store.certificates.standing(number))


def _known_by_its_digest(report: SealReport) -> SealReport:
    """Whole, as the desk kept the same bytes; but no key says so to anybody else."""
    if report.bears_seal:
        words = "The file is byte for byte what this desk issued, but its key is not the one of now."
    else:
        words = "The file is byte for byte what this desk issued, but bears no seal: no key vouches for it."
    return SealReport(state=SealState.KEY_UNKNOWN, words=words, bears_seal=report.bears_seal)
