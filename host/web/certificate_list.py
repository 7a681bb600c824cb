"""Rows of the list of certificates."""

from dataclasses import dataclass

from calibration.conformity import Verdict
from host.certificates.canonical import certificate_from_canonical
from host.store import Store
from host.store.certificate_standing import Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateRow:
    """One certificate in the list."""

    number: str
    run: int
    item: str
    customer: str
    verdict: Verdict | None
    issued: str
    simulated: bool
    standing: Standing


def certificate_rows(store: Store) -> list[CertificateRow]:
    """All certificates, the newest first."""
    rows = []
    standings = store.certificates.standings()
    for number, run, canonical_json in reversed(store.certificates.data()):
        certificate = certificate_from_canonical(canonical_json)
        rows.append(
            CertificateRow(
                number=number,
                run=run,
                item=certificate.item,
                customer=certificate.customer,
                verdict=certificate.verdict,
                issued=certificate.issued,
                simulated=certificate.simulated,
                standing=standings[number],
            )
        )
    return rows
