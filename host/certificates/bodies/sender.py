"""Results of a sender check."""

from dataclasses import dataclass
from typing import ClassVar

from host.certificates.certificate import CertifiedPoint, Coefficient
from host.certificates.kind import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class SenderBody:
    """What a sender showed against its reference curve.

    Attributes
    ----------
    curve, curve_source, curve_tolerance : str
        Reference curve, where it was published, and its tolerance as printed.
    points : tuple[CertifiedPoint, ...]
    coefficients : tuple[Coefficient, ...]
        Of the fitted curve. [natural log of ohms]
    fit_words : str
        Which model was fitted and how well.
    """

    kind: ClassVar[Kind] = Kind.SENDER

    curve: str
    curve_source: str
    curve_tolerance: str
    points: tuple[CertifiedPoint, ...]
    coefficients: tuple[Coefficient, ...]
    fit_words: str
