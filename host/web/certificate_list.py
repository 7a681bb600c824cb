"""The list of certificates, and the form that prints labels of those that are ticked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from flask import render_template

from calibration.conformity import Verdict
from host.certificates.canonical import certificate_from_canonical
from host.certificates.label import PLACES
from host.certificates.paper_lines import simulated_line
from host.store import Store
from host.store.certificate_standing import Standing
from host.web.desk_behind import the_desk


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateRow:
    """One certificate in the list."""

    number: str
    run: int
    item: str
    customer: str
    verdict: Verdict | None
    issued: str
    simulated: str
    standing: Standing
    has_label: bool


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
                simulated=simulated_line(certificate),
                standing=standings[number],
                has_label=standings[number].is_in_force and certificate.kind.has_label,
            )
        )
    return rows


def certificates_page(
    *,
    ticked: Sequence[str] = (),
    start: str = "",
    trouble_of_labels: Mapping[str, str] | None = None,
) -> str:
    """Every certificate, the newest first; what was ticked and typed for labels is kept if refused."""
    store = the_desk().store
    return render_template(
        "certificates.html",
        rows=certificate_rows(store),
        waiting=len(store.drafts.waiting()),
        ticked=ticked,
        start=start,
        trouble_of_labels=trouble_of_labels or {},
        places=PLACES,
    )
