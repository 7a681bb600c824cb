"""The certificate as canonical JSON: the data that travel inside the paper.

Keys are sorted, the encoding is UTF-8, and nothing stands between the tokens. Every number is
an object of two strings: ``reported``, the very characters of the paper, and ``full``, the
shortest decimal that gives the same double back.
"""

import json
from collections.abc import Callable
from typing import Any

from calibration.conformity import DecisionRule, Verdict
from calibration.rounding import decimals_of, rounded_text
from calibration.uncertainty.budget import Budget, BudgetLine, Distribution
from host.certificates.as_found import AsFound, FoundPoint
from host.certificates.certificate import Certificate, CertifiedPoint, InstrumentUsed, Witness
from host.certificates.errors import CertificateError
from host.certificates.printable import printable
from host.certificates.printed import (
    COEFFICIENT_DIGITS,
    degrees_of_freedom_text,
    estimate_text,
    printed_found,
    printed_point,
    printed_witness,
    scientific,
    signed_text,
    two_digits,
)

FORMAT = "ohmbath certificate"
VERSION = 1

_TEXTS = (
    "number", "issued", "measured", "shop", "shop_address", "item", "customer", "sentence", "rule_words",
    "method", "curve", "curve_source", "curve_tolerance", "fit_words",
)  # fmt: skip
_LATER_TEXTS = ("place", "received", "item_condition", "authorised_by")
_INSTRUMENT_TEXTS = ("role", "serial", "certificate", "expanded_u", "due")
_POINT_NUMBERS = (
    "temperature_c", "resistance_ohm", "indicated_c", "error_k", "expanded_u_k", "k", "limit_k",
)  # fmt: skip


def canonical_json(certificate: Certificate) -> bytes:
    """Data of a certificate; the same certificate gives the same bytes.

    Raises
    ------
    CertificateError
        If the certificate cannot be printed: what the paper cannot say, the data do not say.
    """
    data = _certificate_data(printable(certificate))
    text = json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8")


def certificate_from_canonical(data: bytes) -> Certificate:
    """The certificate as a value again, to full precision.

    Raises
    ------
    CertificateError
        If the bytes are no certificate, or of a version later than this program knows.
    """
    try:
        read = json.loads(data)
        if read["format"] != FORMAT:
            raise CertificateError("format", f"{read['format']!r} is not {FORMAT!r}.")
        if read["version"] > VERSION:
            raise CertificateError(
                "version",
                f"{read['version']} is newer than {VERSION}, the newest known here: update this program.",
            )
        return _certificate_of(read)
    except CertificateError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise CertificateError("data", f"no certificate can be read from it ({error}).") from error


def _certificate_data(certificate: Certificate) -> dict[str, Any]:
    texts = {name: getattr(certificate, name) for name in _TEXTS + _LATER_TEXTS}
    return texts | {
        "format": FORMAT,
        "version": VERSION,
        "simulated": certificate.simulated,
        "verdict": certificate.verdict.value,
        "rule": certificate.rule.value,
        "points": [_point_data(point) for point in certificate.points],
        "coefficients": [
            {
                "name": name,
                "value": _number(value, scientific(value, COEFFICIENT_DIGITS)),
                "standard_u": None if u is None else _number(u, scientific(u, 2)),
            }
            for name, value, u in certificate.coefficients
        ],
        "instruments": [
            {name: getattr(instrument, name) for name in _INSTRUMENT_TEXTS}
            for instrument in certificate.instruments
        ],
        "conditions": [{"name": name, "words": words} for name, words in certificate.conditions],
        "remarks": list(certificate.remarks),
        "citations": list(certificate.citations),
        "opinions": list(certificate.opinions),
        "as_found": None if certificate.as_found is None else _as_found_data(certificate.as_found),
        "software": [{"name": name, "version": version} for name, version in certificate.software],
    }


def _certificate_of(read: dict[str, Any]) -> Certificate:
    texts = {name: _text(read[name]) for name in _TEXTS}
    later = {name: _text(read.get(name, "")) for name in _LATER_TEXTS}
    return Certificate(
        **texts,
        **later,
        simulated=_truth(read["simulated"]),
        verdict=Verdict(read["verdict"]),
        rule=DecisionRule(read["rule"]),
        points=_each(read["points"], _point_of),
        coefficients=_each(
            read["coefficients"],
            lambda entry: (
                _text(entry["name"]),
                _full(entry["value"]),
                None if entry["standard_u"] is None else _full(entry["standard_u"]),
            ),
        ),
        instruments=_each(
            read["instruments"],
            lambda entry: InstrumentUsed(**{name: _text(entry[name]) for name in _INSTRUMENT_TEXTS}),
        ),
        conditions=_each(read["conditions"], lambda entry: (_text(entry["name"]), _text(entry["words"]))),
        remarks=_each(read["remarks"], _text),
        citations=_each(read["citations"], _text),
        opinions=_each(read.get("opinions", []), _text),
        as_found=None if read.get("as_found") is None else _as_found_of(read["as_found"]),
        software=_each(read["software"], lambda entry: (_text(entry["name"]), _text(entry["version"]))),
    )


def _point_data(point: CertifiedPoint) -> dict[str, Any]:
    printed = printed_point(point)
    numbers = {name: _number(getattr(point, name), getattr(printed, name)) for name in _POINT_NUMBERS}
    places = decimals_of(point.expanded_u_k)
    return numbers | {
        "u_resistance_ohm": _number(point.u_resistance_ohm, two_digits(point.u_resistance_ohm)),
        "limits_k": point.limits_k and [_number(side, signed_text(side, places)) for side in point.limits_k],
        "verdict": point.verdict.value,
        "budget": _budget_data(point.budget),
        "witnesses": [_witness_data(witness) for witness in point.witnesses],
    }


def _point_of(read: dict[str, Any]) -> CertifiedPoint:
    limits = read.get("limits_k")
    return CertifiedPoint(
        **{name: _full(read[name]) for name in _POINT_NUMBERS},
        u_resistance_ohm=_full(read["u_resistance_ohm"]),
        limits_k=None if limits is None else (_full(limits[0]), _full(limits[1])),
        verdict=Verdict(read["verdict"]),
        budget=_budget_of(read["budget"]),
        witnesses=_each(read["witnesses"], _witness_of),
    )


def _as_found_data(found: AsFound) -> dict[str, Any]:
    return {
        "number": found.number,
        "measured": found.measured,
        "verdict": found.verdict.value,
        "done": found.done,
        "points": [
            {
                "temperature_c": _number(point.temperature_c, printed.temperature_c),
                "error_k": _number(point.error_k, printed.error_k),
                "expanded_u_k": _number(point.expanded_u_k, printed.expanded_u_k),
                "verdict": point.verdict.value,
            }
            for point in found.points
            for printed in (printed_found(point),)
        ],
    }


def _as_found_of(read: dict[str, Any]) -> AsFound:
    return AsFound(
        number=_text(read["number"]),
        measured=_text(read["measured"]),
        verdict=Verdict(read["verdict"]),
        done=_text(read["done"]),
        points=_each(
            read["points"],
            lambda entry: FoundPoint(
                temperature_c=_full(entry["temperature_c"]),
                error_k=_full(entry["error_k"]),
                expanded_u_k=_full(entry["expanded_u_k"]),
                verdict=Verdict(entry["verdict"]),
            ),
        ),
    )


def _witness_data(witness: Witness) -> dict[str, Any]:
    printed = printed_witness(witness)
    return {
        "name": witness.name,
        "temperature_c": _number(witness.temperature_c, printed.temperature_c),
        "expanded_u_k": _number(witness.expanded_u_k, printed.expanded_u_k),
    }


def _witness_of(read: dict[str, Any]) -> Witness:
    return Witness(
        name=_text(read["name"]),
        temperature_c=_full(read["temperature_c"]),
        expanded_u_k=_full(read["expanded_u_k"]),
    )


def _budget_data(budget: Budget) -> dict[str, Any]:
    places = decimals_of(budget.expanded_u)
    return {
        "estimate": _number(budget.estimate, rounded_text(budget.estimate, places)),
        "unit": budget.unit,
        "standard_u": _number(budget.standard_u, two_digits(budget.standard_u)),
        "degrees_of_freedom": _number(
            budget.degrees_of_freedom, degrees_of_freedom_text(budget.degrees_of_freedom)
        ),
        "k": _number(budget.k, rounded_text(budget.k, 2)),
        "lines": [_line_data(line) for line in budget.lines],
    }


def _budget_of(read: dict[str, Any]) -> Budget:
    return Budget(
        lines=_each(read["lines"], _line_of),
        estimate=_full(read["estimate"]),
        unit=_text(read["unit"]),
        standard_u=_full(read["standard_u"]),
        degrees_of_freedom=_full(read["degrees_of_freedom"]),
        k=_full(read["k"]),
    )


def _line_data(line: BudgetLine) -> dict[str, Any]:
    return {
        "quantity": line.quantity,
        "estimate": _number(line.estimate, estimate_text(line)),
        "unit": line.unit,
        "standard_u": _number(line.standard_u, two_digits(line.standard_u)),
        "distribution": line.distribution.value,
        "degrees_of_freedom": _number(
            line.degrees_of_freedom, degrees_of_freedom_text(line.degrees_of_freedom)
        ),
        "sensitivity": _number(line.sensitivity, scientific(line.sensitivity, 3)),
    }


def _line_of(read: dict[str, Any]) -> BudgetLine:
    return BudgetLine(
        quantity=_text(read["quantity"]),
        estimate=_full(read["estimate"]),
        unit=_text(read["unit"]),
        standard_u=_full(read["standard_u"]),
        distribution=Distribution(read["distribution"]),
        degrees_of_freedom=_full(read["degrees_of_freedom"]),
        sensitivity=_full(read["sensitivity"]),
    )


def _number(full: float, reported: str) -> dict[str, str]:
    return {"reported": reported, "full": repr(float(full))}


def _full(read: Any) -> float:
    return float(_text(read["full"]))


def _text(read: Any) -> str:
    if not isinstance(read, str):
        raise TypeError(f"{read!r} where text was due")
    return read


def _truth(read: Any) -> bool:
    if not isinstance(read, bool):
        raise TypeError(f"{read!r} where true or false was due")
    return read


def _each(entries: Any, read: Callable[[Any], Any]) -> tuple[Any, ...]:
    return tuple(read(entry) for entry in entries)
