"""Labels of issued certificates: only of those in force, with the due day that the shop has set, if any."""

from collections.abc import Iterable
from datetime import date

from host.certificates.canonical import certificate_from_canonical
from host.certificates.certificate import Certificate
from host.certificates.label import Label, label_of
from host.errors import DeskError
from host.recalibration import due_of
from host.store import Store


class NoLabelError(DeskError):
    """A certificate for which no label is printed."""


def labels_of(store: Store, numbers: Iterable[str]) -> list[Label]:
    """Labels of certificates, in the order in which they are named.

    Raises
    ------
    UnknownCertificateError
        If one was never issued here; a draft has no number yet.
    NoLabelError
        If one does not hold any more, or is a record that certifies nothing.
    """
    made: dict[str, Label] = {}
    wanted = list(numbers)
    for number in wanted:
        if number not in made:
            made[number] = _label(store, number)
    return [made[number] for number in wanted]


def _label(store: Store, number: str) -> Label:
    issued = store.certificates.get(number)
    standing = store.certificates.standing(number)
    if not standing.is_in_force:
        instead = f"print one of {standing.number_now}" if standing.number_now else "take off any old one"
        raise NoLabelError(f"Certificate {number} is {standing.words}: no label is printed of it; {instead}.")
    certificate = certificate_from_canonical(issued.files.canonical_json)
    if not certificate.kind.has_label:
        raise NoLabelError(
            f"{number} is a record of a comparison on the vehicle: it certifies nothing, so it has no label."
        )
    return label_of(certificate, issued.files.canonical_json, due=_due_in_register(store, certificate))


def _due_in_register(store: Store, certificate: Certificate) -> date | None:
    """When an instrument of the shop is due that stands in the register by this very certificate."""
    months = store.settings.read().recalibration_months
    for entry in reversed(store.register.all()):
        if (entry.certificate, entry.issuer) == (certificate.number, certificate.shop):
            return due_of(entry.content, months)
    return None
