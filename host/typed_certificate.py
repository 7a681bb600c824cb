"""The certificate of a check whose points were typed by hand."""

import hashlib
import math
from datetime import date

from calibration.diagnosis import opinions_of
from calibration.sender_point import SenderPoint
from calibration.thermistor.fit import FitPoint
from host.certificates.bodies.sender import SenderBody
from host.certificates.certificate import Certificate, CertifiedPoint, Coefficient, Witness
from host.fit_words import equation_words
from host.registered_meter import meter_used
from host.software_versions import software_versions
from host.typed_check import TypedCheck
from host.verdict_words import RULE_WORDS

METHOD = "Hand check: typed pairs of temperature and resistance against a reference curve, version 2"
METHOD_WITH_METER = (
    "Hand check: typed pairs of temperature and resistance, corrected by the meter's certificate, against a "
    "reference curve, version 2"
)
ITEM_NOT_STATED = "sender not named"

# Coverage factor of a witness on the strip; its own uncertainty has endless degrees of freedom. (EA-4/02)
_K_OF_A_WITNESS = 2.0


def typed_certificate(
    check: TypedCheck,
    *,
    issued: date,
    item: str = ITEM_NOT_STATED,
    shop: str = "",
    shop_address: str = "",
    customer: str = "",
    number: str | None = None,
    more_conditions: tuple[tuple[str, str], ...] = (),
) -> Certificate:
    """Certificate of a hand check; it says that nobody but the person who typed saw the readings.

    Parameters
    ----------
    check : TypedCheck
    issued : date
    item, shop, shop_address, customer : str
        As printed.
    number : str, optional
        Of the desk that issues it; without one it is made of the day and the content.
    more_conditions : tuple of (str, str)
        What else was said of the readings.

    Raises
    ------
    ValueError
        If no point could be read: there is no result to certify.
    """
    if check.verdict is None:
        raise ValueError(f"No certificate without a result. {check.reason}")
    coefficients, fit_words = _fit(check)
    return Certificate(
        number=number or f"OB-T-{issued.isoformat()}-{_content_digest(check)}",
        issued=issued.isoformat(),
        measured="date not stated; readings typed by hand",
        shop=shop,
        shop_address=shop_address,
        item=item,
        customer=customer,
        verdict=check.verdict,
        sentence=check.sentence,
        rule=check.rule,
        rule_words=RULE_WORDS[check.rule],
        method=_method(check),
        body=SenderBody(
            curve=check.curve.name,
            curve_source=check.curve.source,
            curve_tolerance=check.limit_words,
            points=tuple(
                _certified(point, used) for point, used in zip(check.points, check.used, strict=True)
            ),
            coefficients=coefficients,
            fit_words=fit_words,
        ),
        instruments=() if check.meter is None else (meter_used(check.meter.content),),
        conditions=(("readings", _readings_words(check)), *more_conditions),
        remarks=_remarks(check),
        opinions=tuple(opinions_of(check.diagnosis, check.curve)),
        citations=(
            f"file {check.file.name.replace(chr(92), '/').rsplit('/', 1)[-1]}, SHA-256 {check.file.digest}",
            f"curve {check.curve.name}, SHA-256 {check.curve.content_hash}",
        ),
        simulated=check.meter is not None and check.meter.simulated,
        not_done=()
        if check.meter is None
        else ("What the meter may have moved since its certificate, and with temperature, is not counted.",),
        software=software_versions(),
    )


def _method(check: TypedCheck) -> str:
    return METHOD if check.meter is None else METHOD_WITH_METER


def _readings_words(check: TypedCheck) -> str:
    if check.meter is None:
        return "a thermometer and a resistance meter, read and typed by hand"
    return f"a thermometer and the resistance meter {check.meter.serial}, read and typed by hand"


def _content_digest(check: TypedCheck) -> str:
    """Eight characters that change with the points, the curve, the rule or the limit."""
    parts = (
        _method(check),
        check.file.digest,
        check.curve.content_hash,
        check.rule.value,
        repr(check.limit_k),
        *check.notes,
    )
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:8]


def _certified(point: SenderPoint, used: FitPoint) -> CertifiedPoint:
    assert used.u_temperature_k is not None
    thermometer = Witness(
        name="thermometer",
        temperature_c=point.temperature_c,
        expanded_u_k=_K_OF_A_WITNESS * used.u_temperature_k,
    )
    # The thermometer's share belongs to its own bar; what is left is the sender's.
    others = [line for line in point.budget.lines if line.quantity != "thermometer"]
    sender = Witness(
        name="sender shows",
        temperature_c=point.indicated_c,
        expanded_u_k=_K_OF_A_WITNESS * math.hypot(*(line.contribution for line in others)),
    )
    return CertifiedPoint.of(point, (thermometer, sender))


def _fit(check: TypedCheck) -> tuple[tuple[Coefficient, ...], str]:
    if check.fit is None:
        return (), f"No curve was fitted. {check.fit_trouble}"
    spread = check.fit.std_uncertainties
    coefficients = tuple(
        Coefficient(name=name, value=value, standard_u=None if spread is None else spread[name])
        for name, value in check.fit.coefficients.items()
    )
    return coefficients, f"{equation_words(check.fit.model)}. {check.fit.chi2_words}"


def _remarks(check: TypedCheck) -> tuple[str, ...]:
    return (
        "The readings were typed by hand; no instrument of the bench saw them, and how well sender and "
        "thermometer shared one temperature is not known beyond the uncertainties stated.",
        "Not measured on this sender: heat led away by its stem, what the water differed by between sender "
        "and thermometer, and how far the meter’s current warmed the sender.",
        *check.notes,
        *check.remarks,
    )
