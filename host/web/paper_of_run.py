"""The paper that a run came to: its newest certificate, or the draft that waits to become one."""

from dataclasses import dataclass

from host.certificates.canonical import certificate_from_canonical
from host.store import Store
from host.store.certificate_standing import Standing
from host.store.certificates import IssuedCertificate, IssuedFiles
from host.store.drafts import Draft, DraftFiles


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperOfRun:
    """Paper of a run, and how it stands.

    Attributes
    ----------
    issued : IssuedCertificate or None
    standing : Standing or None
        Of the certificate.
    draft : Draft or None
        What waits to be authorised, or was sent back where nothing was ever issued.
    """

    issued: IssuedCertificate | None
    standing: Standing | None
    draft: Draft | None

    @property
    def files(self) -> IssuedFiles | DraftFiles:
        """What it is made of."""
        if self.issued is not None:
            return self.issued.files
        assert self.draft is not None  # one of the two is there
        return self.draft.files

    @property
    def word(self) -> str:
        """What it is: a certificate, or a record."""
        return certificate_from_canonical(self.files.canonical_json).kind.paper_word.lower()

    @property
    def paper_address(self) -> str:
        """Where the paper is to be had."""
        if self.issued is not None:
            return f"/certificates/{self.issued.number}.pdf"
        return f"/drafts/{0 if self.draft is None else self.draft.draft}.pdf"

    @property
    def label_address(self) -> str:
        """Where its label is to be had; empty where it does not hold, or is a draft yet."""
        if self.issued is None or self.standing is None or not self.standing.is_in_force:
            return ""
        return f"/certificates/{self.issued.number}/label.pdf"


def paper_of_run(store: Store, run: int) -> PaperOfRun | None:
    """Paper of a run; None where it came to none."""
    issued = store.certificates.of_run(run)
    drafts = store.drafts.of_run(run)
    waiting = [draft for draft in drafts if draft.is_waiting]
    if issued:
        newest = issued[-1]
        return PaperOfRun(
            issued=newest,
            standing=store.certificates.standing(newest.number),
            draft=waiting[-1] if waiting else None,
        )
    return PaperOfRun(issued=None, standing=None, draft=drafts[-1]) if drafts else None
