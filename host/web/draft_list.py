"""Rows of the list of drafts."""

from dataclasses import dataclass

from calibration.conformity import Verdict
from host.certificates.canonical import certificate_from_canonical
from host.certificates.paper_lines import simulated_line
from host.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftRow:
    """One draft in the list."""

    draft: int
    run: int
    item: str
    customer: str
    verdict: Verdict | None
    made_by: str
    made_utc_s: float
    supersedes: str | None
    simulated: str


def draft_rows(store: Store) -> list[DraftRow]:
    """Drafts that wait, the oldest first."""
    rows = []
    for one in store.drafts.waiting():
        certificate = certificate_from_canonical(one.files.canonical_json)
        rows.append(
            DraftRow(
                draft=one.draft,
                run=one.run,
                item=certificate.item,
                customer=certificate.customer,
                verdict=certificate.verdict,
                made_by=one.made_by,
                made_utc_s=one.made_utc_s,
                supersedes=one.supersedes,
                simulated=simulated_line(certificate),
            )
        )
    return rows
