"""The sticker for what a certificate is about: a label of 40 by 20 mm, alone or 24 on a sheet of A4.

Printed at 100 %: four columns and six rows with gaps of 6 mm, the first place 16 mm from the left edge.
"""

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.conformity import Verdict
from host.certificates.certificate import Certificate
from host.certificates.errors import CertificateError
from host.certificates.fingerprint import code_svg, code_words, fingerprint
from host.certificates.printable import issued_moment
from host.certificates.typesetting import set_on_paper
from host.pictures.verdict_shape import SHAPES

#: Labels of a sheet: four beside each other, six under each other, counted along the rows from 1.
COLUMNS, ROWS = 4, 6
PLACES = COLUMNS * ROWS

_TEMPLATE = ("label.typ",)
#: Fonts inside, and a letter that they lack is an error; nothing else is claimed for a sticker.
_STANDARDS = ("a-2b",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What a label says; nothing on it claims more than the certificate does.

    Attributes
    ----------
    number : str
        Of the certificate.
    fingerprint : str
        Short fingerprint of its data, as on the foot of its paper.
    item : str
        What it is stuck to; shortened visibly where it is longer than the label.
    issued : datetime.datetime
        When the certificate was issued.
    due : str
        Day of the next calibration; empty where nobody set one.
    shop : str
    verdict : Verdict or None
    simulated : bool
        True where nothing real was measured.
    """

    number: str
    fingerprint: str
    item: str
    issued: datetime.datetime
    due: str
    shop: str
    verdict: Verdict | None
    simulated: bool

    @property
    def code(self) -> str:
        """What its code says: the very words of the code on the paper."""
        return code_words(self.number, self.fingerprint)


def label_of(certificate: Certificate, canonical: bytes, *, due: datetime.date | None = None) -> Label:
    """Label of a certificate.

    Parameters
    ----------
    certificate : Certificate
    canonical : bytes
        Its data as issued.
    due : datetime.date, optional
        When the shop has its own instrument calibrated again. A day that was agreed with the customer stands
        in the certificate and goes first; without either the label says none (ISO/IEC 17025, 7.8.4.3).
    """
    return Label(
        number=certificate.number,
        fingerprint=fingerprint(canonical),
        item=certificate.item,
        issued=issued_moment(certificate),
        due=certificate.next_due or ("" if due is None else due.isoformat()),
        shop=certificate.shop,
        verdict=certificate.verdict,
        simulated=certificate.simulated,
    )


def stickers_pdf(labels: Sequence[Label]) -> bytes:
    """A page of exactly 40 by 20 mm for each label, for a printer of stickers.

    Raises
    ------
    CertificateError
        If a label cannot be set, or there is none.
    """
    return _set(labels, {"labels": [_data(label) for label in labels], "sheets": []})


def sheet_pdf(labels: Sequence[Label], *, start: int = 1) -> bytes:
    """Sheets of A4 with 24 places each, from a place of the first one on.

    Parameters
    ----------
    labels : Sequence[Label]
    start : int
        First place to print on, where the sheet is used in part: 1 to 24, along the rows.

    Raises
    ------
    CertificateError
        If there is no such place, or as `stickers_pdf`.
    """
    if not 1 <= start <= PLACES:
        raise CertificateError("start", f"{start} is no place of a sheet: it has places 1 to {PLACES}.")
    return _set(labels, {"labels": [], "sheets": list(_sheets(labels, start))})


def _sheets(labels: Sequence[Label], start: int) -> Iterator[list[Any]]:
    places = [None] * (start - 1) + [_data(label) for label in labels]
    for first in range(0, len(places), PLACES):
        on_this = places[first : first + PLACES]
        yield on_this + [None] * (PLACES - len(on_this))


def _set(labels: Sequence[Label], data: dict[str, Any]) -> bytes:
    if not labels:
        raise CertificateError("labels", "there is no label to print: name a certificate.")
    newest = max(label.issued for label in labels)
    return set_on_paper(_TEMPLATE, data, standards=_STANDARDS, timestamp=newest)


def _data(label: Label) -> dict[str, str]:
    return {
        "number": label.number,
        "code": code_svg(label.code),
        "code_words": label.code,
        "item": label.item,
        "issued": label.issued.date().isoformat(),
        "due": label.due,
        "shop": label.shop,
        "shape": "" if label.verdict is None else SHAPES[label.verdict],
        "verdict": "" if label.verdict is None else label.verdict.words,
        "simulated": "Simulated bench" if label.simulated else "",
    }
