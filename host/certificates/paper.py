"""What the paper says: every text and number in its final characters, for the template to set."""

from typing import Any

from calibration.conformity import DecisionRule
from calibration.uncertainty.budget import Budget, BudgetLine
from host.certificates.certificate import Certificate, CertifiedPoint, Coefficient
from host.certificates.printed import (
    COEFFICIENT_DIGITS,
    degrees_of_freedom_text,
    estimate_text,
    printed_found,
    printed_point,
    scientific,
    two_digits,
)
from host.pictures.agreement_strip import agreement_strip_svg, strip_span_k
from host.pictures.result_chart import result_chart_svg
from host.pictures.verdict_shape import SHAPES

SIMULATED_LINE = "Simulated bench: no real sender was measured"
RELATES_LINE = "The results relate only to the item named above, in the state in which it was measured."
ACCREDITATION_LINE = "Issued by the shop named above; no accreditation is claimed."
TRACEABLE_LINE = "The result is traceable as far as the certificates named here are."
UNNAMED_LINE = "No instrument is named; the result rests on the uncertainties stated below."
ROUNDING_LINE = (
    "The limit is the one on the side of the error. A difference of 1 K is 1.8 °F. Numbers are rounded to "
    "the place their uncertainty reaches; verdicts are taken before rounding."
)
SIMPLE_RULE_LINE = (
    "What it means: the error alone is compared with the limit. Close to the limit the statement may be "
    "wrong with a probability of up to 50 %."
)
COVERAGE_LINE = (
    "U is the expanded uncertainty, the combined standard uncertainty times k; it covers about 95 % "
    "(JCGM 100:2008, k from Student's t at the effective degrees of freedom)."
)
CAUTION_LINE = (
    "Open no cooling system that is warm: it is under pressure and scalds. Coolant is poisonous to people "
    "and animals; catch it and keep it away. Local rules and licensed practice come first."
)
#: Points of a check, and for how many of them strips are drawn: those nearest to or beyond their limit.
STRIPS_UP_TO = ((4, 4), (10, 3))
STRIPS_OF_A_LONG_CHECK = 2
_STRIP_WIDTH_PX = 330.0
_LONGEST_WORD = 26
_WORD_PIECE = 13
_MAY_BREAK = "\u200b"


def paper_data(certificate: Certificate, canonical: bytes) -> dict[str, Any]:
    """Data of the template; plain text, lists and SVG, nothing that could be run.

    Parameters
    ----------
    certificate : Certificate
        Already printable (see `host.certificates.printable`).
    canonical : bytes
        What is attached to the file.
    """
    worst = worst_point(certificate)
    return {
        "number": certificate.number,
        "shop": _breakable(certificate.shop),
        "shop_address": _breakable(certificate.shop_address),
        "simulated": SIMULATED_LINE if certificate.simulated else "",
        "shape": SHAPES[certificate.verdict],
        "verdict": certificate.verdict.value,
        "verdict_words": certificate.verdict.words.capitalize(),
        "sentence": _breakable(certificate.sentence),
        "item_facts": _item_facts(certificate),
        "work_facts": _work_facts(certificate),
        "points": [_row(point) for point in certificate.points],
        "rounding": ROUNDING_LINE,
        "chart": result_chart_svg(certificate.points, height_in=chart_height_in(certificate)),
        "chart_words": "Error against temperature with uncertainty bars and limits; numbers in the table.",
        "strips": _strips(certificate),
        "strips_note": _strips_note(certificate),
        "rule": _rule_lines(certificate),
        "curve": [
            _breakable(line)
            for line in (
                certificate.body.curve,
                certificate.body.curve_source,
                f"Tolerance: {certificate.body.curve_tolerance}",
            )
        ],
        "coefficients": [_coefficient(one) for one in certificate.body.coefficients],
        "fit_words": _breakable(certificate.body.fit_words),
        "instruments": [
            [_breakable(text) for text in (one.role, one.serial, one.certificate, one.expanded_u, one.due)]
            for one in certificate.instruments
        ],
        "traceability": TRACEABLE_LINE if certificate.instruments else UNNAMED_LINE,
        "conditions": [[_breakable(name), _breakable(words)] for name, words in certificate.conditions],
        "budget": _budget(worst, first=len(certificate.points) > 1),
        "other_budgets": [
            _budget_in_short(point, with_source=not _is_long(certificate))
            for point in certificate.points
            if point is not worst
        ],
        "budget_columns": 2 if _is_long(certificate) else 1,
        "opinions": [_breakable(text) for text in certificate.opinions],
        "as_found": _as_found_lines(certificate),
        "remarks": [_breakable(text) for text in (*certificate.remarks, RELATES_LINE, ACCREDITATION_LINE)],
        "caution": CAUTION_LINE,
        "citations": [_breakable(text) for text in certificate.citations],
        "software": ", ".join(
            f"{_breakable(name)} {_breakable(version)}" for name, version in certificate.software
        ),
        "authorised_by": _breakable(certificate.authorised_by),
        "canonical": canonical.decode("utf-8"),
    }


def worst_point(certificate: Certificate) -> CertifiedPoint:
    """The point nearest to its limit, or furthest beyond it."""
    return max(certificate.points, key=_part_of_limit)


def chart_height_in(certificate: Certificate) -> float:
    """Height of the chart beside its strips. [in]"""
    witnesses = [len(point.witnesses) for point in _points_with_strips(certificate)]
    strips_px = sum(30.0 + 21.0 * count for count in witnesses)
    return min(max(strips_px * 0.755 / 72.0 + 0.12 * len(witnesses) + 0.2, 2.4), 3.6)


def _is_long(certificate: Certificate) -> bool:
    return len(certificate.points) > STRIPS_UP_TO[0][0]


def _part_of_limit(point: CertifiedPoint) -> float:
    return (abs(point.error_k) + point.expanded_u_k) / point.limit_k


def _item_facts(certificate: Certificate) -> list[list[str]]:
    return _stated(
        ("Item", certificate.item),
        ("Condition", certificate.item_condition),
        ("Received", certificate.received),
        ("Curve", certificate.body.curve),
    )


def _work_facts(certificate: Certificate) -> list[list[str]]:
    return _stated(
        ("Customer", certificate.customer),
        ("Measured", certificate.measured),
        ("Issued", certificate.issued),
        ("Place", certificate.place),
        ("Method", certificate.method),
    )


def _stated(*facts: tuple[str, str]) -> list[list[str]]:
    return [[name, _breakable(text)] for name, text in facts if text]


def _row(point: CertifiedPoint) -> dict[str, str]:
    printed = printed_point(point)
    return {
        "temperature_c": printed.temperature_c,
        "temperature_f": printed.temperature_f,
        "resistance_ohm": printed.resistance_ohm,
        "u_ohm": printed.expanded_u_resistance_ohm,
        "indicated_c": printed.indicated_c,
        "indicated_f": printed.indicated_f,
        "error_k": printed.error_k,
        "u_k": printed.expanded_u_k,
        "k": printed.k,
        "limit_k": printed.limit_k,
        "verdict": point.verdict.value,
        "shape": SHAPES[point.verdict],
        "words": point.verdict.words,
    }


def _points_with_strips(certificate: Certificate) -> list[CertifiedPoint]:
    nearest = sorted(
        (point for point in certificate.points if point.witnesses), key=_part_of_limit, reverse=True
    )
    count = len(certificate.points)
    shown = next((strips for most, strips in STRIPS_UP_TO if count <= most), STRIPS_OF_A_LONG_CHECK)
    return sorted(nearest[:shown], key=lambda point: point.temperature_c)


def _strips(certificate: Certificate) -> list[dict[str, str]]:
    points = _points_with_strips(certificate)
    if not points:
        return []
    span_k = strip_span_k([point.witnesses for point in points])
    return [
        {
            "words": " ".join(
                f"{one.name} {one.temperature_c:.2f} °C ± {one.expanded_u_k:.2g} K;"
                for one in point.witnesses
            ),
            "svg": agreement_strip_svg(
                point.witnesses,
                verdict=point.verdict,
                width_px=_STRIP_WIDTH_PX,
                span_k=span_k,
                title=f"Agreement at {printed_point(point).temperature_c} °C",
            ),
        }
        for point in points
    ]


def _strips_note(certificate: Certificate) -> str:
    shown, there = len(_points_with_strips(certificate)), len(certificate.points)
    if shown == there:
        return "Who says what, in °C: bars that overlap agree, a gap is a disagreement."
    return f"Who says what, in °C, at {shown} of {there} points: nearest the limit."


def _coefficient(one: Coefficient) -> list[str]:
    u_text = "not stated" if one.standard_u is None else scientific(one.standard_u, 2)
    return [_breakable(one.name), scientific(one.value, COEFFICIENT_DIGITS), u_text]


def _budget(point: CertifiedPoint, *, first: bool) -> dict[str, Any]:
    printed = printed_point(point)
    where = f"{printed.temperature_c} °C ({printed.temperature_f} °F)"
    return {
        "title": f"Error at {where}"
        + (", the point nearest to or furthest beyond its limit" if first else ""),
        "lines": [_budget_line(line) for line in point.budget.lines],
        "sum": _budget_sum(point.budget),
    }


def _budget_line(line: BudgetLine) -> list[str]:
    return [
        _breakable(line.quantity),
        f"{estimate_text(line)} {line.unit}",
        f"{two_digits(line.standard_u)} {line.unit}",
        line.distribution.value,
        degrees_of_freedom_text(line.degrees_of_freedom),
        scientific(line.sensitivity, 3),
        two_digits(line.contribution),
    ]


def _budget_sum(budget: Budget) -> dict[str, str]:
    return {
        "u": two_digits(budget.standard_u),
        "degrees": degrees_of_freedom_text(budget.degrees_of_freedom),
        "k": f"{budget.k:.2f}",
        "expanded_u": two_digits(budget.expanded_u),
    }


def _budget_in_short(point: CertifiedPoint, *, with_source: bool) -> str:
    printed, total = printed_point(point), _budget_sum(point.budget)
    words = (
        f"{printed.temperature_c} °C: u = {total['u']} K, d.o.f. {total['degrees']}, k = {total['k']}, "
        f"U = {printed.expanded_u_k} K"
    )
    largest = max(point.budget.lines, key=lambda line: line.contribution, default=None)
    return f"{words}, most from {_breakable(largest.quantity)}" if with_source and largest else words


def _as_found_lines(certificate: Certificate) -> list[str]:
    found = certificate.as_found
    if found is None:
        return []
    errors = "; ".join(
        f"{printed.temperature_c} °C: {printed.error_k.replace('-', '−')} K ± {printed.expanded_u_k} K, "
        f"{point.verdict.words}"
        for point in found.points
        for printed in (printed_found(point),)
    )
    return [
        _breakable(f"Certificate {found.number}, measured {found.measured}: {found.verdict.words}."),
        f"Error {errors}.",
        _breakable(f"Done between the two checks: {found.done}."),
    ]


def _rule_lines(certificate: Certificate) -> list[str]:
    caution = [SIMPLE_RULE_LINE] if certificate.rule is DecisionRule.SIMPLE else []
    return [_breakable(certificate.rule_words), *caution, COVERAGE_LINE]


def _breakable(text: str) -> str:
    """Text whose overlong words may break, so that no word runs off the paper."""
    return " ".join(
        word
        if len(word) <= _LONGEST_WORD
        else _MAY_BREAK.join(word[at : at + _WORD_PIECE] for at in range(0, len(word), _WORD_PIECE))
        for word in text.split(" ")
    )
