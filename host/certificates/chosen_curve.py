"""What a certificate says, and what it does not, where the curve was chosen from its own readings."""

from dataclasses import replace

from calibration.conformity import Verdict
from host.certificates.bodies.sender import SenderBody
from host.certificates.certificate import Certificate, CertifiedPoint

#: Name of the condition that tells who chose the curve.
CURVE_CHOSEN = "curve chosen"

_MEANING = (
    "The reference curve was chosen because it fits readings of this sender. That the sender keeps the "
    "limits of that curve is therefore no finding of its own, and it is not stated as in tolerance: the "
    "result says which curve the sender follows, not that this is the curve its vehicle expects. That is "
    "told by the service manual of the vehicle."
)


def with_chosen_curve(certificate: Certificate, words: str) -> Certificate:
    """The same result, said honestly: nothing is in tolerance of a curve that was picked because it fits.

    Parameters
    ----------
    certificate : Certificate
        Of a sender check, judged against the chosen curve.
    words : str
        Who chose it, when, and how likely it was.
    """
    body = certificate.body
    if not isinstance(body, SenderBody):
        raise ValueError("Only a sender check is judged against a reference curve.")
    follows = all(point.verdict is Verdict.IN_TOLERANCE for point in body.points)
    sentence = f"{certificate.sentence} The curve was chosen from readings of this sender."
    if follows and certificate.verdict is Verdict.IN_TOLERANCE:
        count = len(body.points)
        where = "the one temperature" if count == 1 else f"all {count} temperatures"
        sentence = (
            f"The sender follows {body.curve} within its limits at {where}. The curve was chosen from "
            "readings of this sender, so that is no verdict of in tolerance."
        )
    return replace(
        certificate,
        verdict=_not_passed(certificate.verdict),
        sentence=sentence,
        body=replace(body, points=tuple(_without_pass(point) for point in body.points)),
        conditions=(*certificate.conditions, (CURVE_CHOSEN, words)),
        remarks=(_MEANING, *certificate.remarks),
    )


def is_curve_chosen(certificate: Certificate) -> bool:
    """Whether the curve of a certificate was chosen from its own readings."""
    return any(name == CURVE_CHOSEN for name, _ in certificate.conditions)


def _without_pass(point: CertifiedPoint) -> CertifiedPoint:
    verdict = _not_passed(point.verdict)
    assert verdict is not None
    return replace(point, verdict=verdict)


def _not_passed(verdict: Verdict | None) -> Verdict | None:
    return Verdict.NOT_DECIDED if verdict is Verdict.IN_TOLERANCE else verdict
