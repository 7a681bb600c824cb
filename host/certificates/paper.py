"""What the paper says: every text and number in its final characters, for the template to set."""

import re
from dataclasses import dataclass
from typing import Any

from calibration.rounding import decimals_of, rounded_text, two_digits
from calibration.uncertainty.budget import Budget, BudgetLine
from host.certificates.certificate import Certificate, Coefficient
from host.certificates.dcc_units import unit_of_uncertainty
from host.certificates.kind import Kind
from host.certificates.paper_lines import (
    ACCREDITATION_LINE,
    CAUTION_LINE,
    DRAFT_LINE,
    INTERVAL_LINE,
    NO_STATEMENT_LINE,
    RELATES_LINE,
    WHOLE_LINE,
    conditions_left,
    coverage_line,
    rounding_line,
    rule_lines,
    simulated_clock_line,
    simulated_line,
    stated_u,
    traceability_line,
)
from host.certificates.paper_table import breakable, percent_apart, table_data, with_its_unit, with_minus
from host.certificates.printed import (
    COEFFICIENT_DIGITS,
    degrees_of_freedom_text,
    estimate_text,
    printed_found,
    scientific,
)
from host.certificates.results.results import Results, StatedBudget, Strip
from host.pictures.agreement_strip import strip_span, strip_svg
from host.pictures.error_chart import error_chart_svg, said_of
from host.pictures.verdict_shape import SHAPES

#: Points of a check, and for how many of them strips are drawn: those nearest to or beyond their limit.
STRIPS_UP_TO = ((4, 4), (10, 3))
STRIPS_OF_A_LONG_CHECK = 2
#: Up to so many rows the first page has room for the decision rule.
RULE_FIRST_UP_TO = 4
#: Width of the chart beside its strips, and by itself. [in]
BESIDE_STRIPS_IN, ALONE_IN = 3.5, 7.2
_STRIP_WIDTH_PX = 330.0
#: Width of strips with no chart beside them: names have room there. [px]
_STRIP_ALONE_WIDTH_PX = 500.0
#: Rows from which on a chart by itself is low, and its height then. [in]
_LONG_TABLE, _LOW_CHART_IN = 16, 1.6
#: A span within one day: the paper names the day once.
_SAME_DAY = re.compile(r"(\d{4}-\d{2}-\d{2}) (\d{2}:\d{2}) to \1 (\d{2}:\d{2})")
#: Coefficients of the beta equation, as they are called on paper; in data they keep their names.
_COEFFICIENT_WORDS = {"r25_ohm": "R25 in Ω", "beta_k": "beta in K"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperMark:
    """A picture that leads from the paper to where it can be looked up, and the words under it."""

    svg: str
    alt: str
    words: tuple[str, ...]


def paper_data(
    certificate: Certificate,
    results: Results,
    attachments: dict[str, bytes],
    mark: PaperMark | None = None,
) -> dict[str, Any]:
    """Data of the template; plain text, lists and SVG, nothing that could be run.

    Parameters
    ----------
    certificate : Certificate
        Already printable (see `host.certificates.printable`).
    results : Results
        Of it.
    attachments : dict[str, bytes]
        What is attached to the file: ``json`` and ``xml``.
    mark : PaperMark, optional
    """
    return {
        "number": certificate.number,
        "paper_word": certificate.kind.paper_word,
        "title": certificate.kind.title,
        "shop": breakable(certificate.shop),
        "shop_address": breakable(certificate.shop_address),
        "logo": list(certificate.logo),
        "whole": WHOLE_LINE,
        "banner": [
            line for line in (DRAFT_LINE if certificate.draft else "", simulated_line(certificate)) if line
        ],
        **_verdict(certificate, results.headline),
        "sentence": breakable(with_its_unit(certificate.sentence)),
        "item_facts": _item_facts(certificate, results),
        "work_facts": _work_facts(certificate),
        "tables": [table_data(table) for table in results.tables],
        "rounding": rounding_line(certificate),
        "chart": ""
        if results.bars is None
        else error_chart_svg(
            results.bars,
            width_in=BESIDE_STRIPS_IN if _shown_strips(results) else ALONE_IN,
            height_in=chart_height_in(results),
        ),
        "chart_words": "" if results.bars is None else breakable(said_of(results.bars)),
        "strips": _strips(results),
        "strips_note": _strips_note(results),
        "mark": None if mark is None else {"svg": mark.svg, "alt": mark.alt, "words": list(mark.words)},
        "as_found": _as_found_lines(certificate),
        "rule_first": sum(len(table.verdicts) for table in results.tables) <= RULE_FIRST_UP_TO,
        "rule": [breakable(with_its_unit(with_minus(line))) for line in rule_lines(certificate, results)],
        "sections": [_section(section) for section in results.sections],
        "instruments": [
            [
                breakable(text)
                for text in (one.role, one.serial, one.certificate, percent_apart(stated_u(one)), one.due)
            ]
            for one in certificate.instruments
        ],
        "traceability": traceability_line(certificate),
        "conditions": [
            [breakable(name), breakable(words)] for name, words in conditions_left(certificate, results)
        ],
        "coverage": coverage_line(results),
        "budget": _budget(results),
        "other_budgets": _other_budgets(results),
        "budget_columns": 2 if _is_long(results) else 1,
        "external": [breakable(text) for text in certificate.external],
        "not_done": [breakable(text) for text in certificate.not_done],
        "opinions": [breakable(with_minus(text)) for text in certificate.opinions],
        "remarks": _remarks(certificate),
        "caution": CAUTION_LINE if certificate.kind in (Kind.SENDER, Kind.IN_PLACE) else "",
        "citations": [breakable(text) for text in certificate.citations],
        "chain": _chain(certificate),
        "software": ", ".join(
            f"{breakable(name)} {breakable(version)}" for name, version in certificate.software
        ),
        "authorised_by": breakable(
            ", ".join(text for text in (certificate.authorised_by, certificate.authorised) if text)
        ),
        "operator": breakable(certificate.operator),
        "json": attachments["json"].decode("utf-8"),
        "xml": attachments["xml"].decode("utf-8"),
    }


def chart_height_in(results: Results) -> float:
    """Height of the chart beside its strips; low below a long table, so that both go on one page. [in]"""
    if not _shown_strips(results) and sum(len(table.verdicts) for table in results.tables) > _LONG_TABLE:
        return _LOW_CHART_IN
    rows = [len(strip.bars) for strip in _shown_strips(results)]
    strips_px = sum(30.0 + 21.0 * count for count in rows)
    return min(max(strips_px * 0.755 / 72.0 + 0.12 * len(rows) + 0.2, 2.4), 3.6)


def _verdict(certificate: Certificate, headline: str) -> dict[str, str]:
    if certificate.verdict is None:
        is_record = certificate.kind is Kind.IN_PLACE
        words = "A record, not a certificate" if is_record else headline or NO_STATEMENT_LINE
        return {"shape": "", "verdict": "", "verdict_words": words}
    return {
        "shape": SHAPES[certificate.verdict],
        "verdict": certificate.verdict.value,
        "verdict_words": certificate.verdict.words.capitalize(),
    }


def _is_long(results: Results) -> bool:
    return len(results.budgets) > STRIPS_UP_TO[0][0]


def _item_facts(certificate: Certificate, results: Results) -> list[list[str]]:
    return [
        *_asked_for(
            ("Item", certificate.item),
            ("Condition", certificate.item_condition),
            ("Received", certificate.received),
        ),
        *_stated(*results.facts),
    ]


def _work_facts(certificate: Certificate) -> list[list[str]]:
    next_due = certificate.next_due and f"{certificate.next_due}, as agreed with the customer"
    return [
        *_asked_for(
            ("Customer", certificate.customer),
            ("Contact", certificate.customer_contact),
            ("Measured", _SAME_DAY.sub(r"\1 \2 to \3", certificate.measured)),
            ("Issued", certificate.issued),
            ("Place", certificate.place),
            ("Method", _unbroken(certificate.method)),
        ),
        *_stated(("Replaces", certificate.supersedes), ("Next due", next_due)),
    ]


def _unbroken(method: str) -> str:
    """A method whose version and run stay on the line of their word."""
    return method.replace("version ", "version\u00a0").replace("(run ", "(run\u00a0")


def _asked_for(*facts: tuple[str, str]) -> list[list[str]]:
    """What a reader looks for (ISO/IEC 17025:2017, 7.8.2.1); an empty text is set as "not stated"."""
    return [[name, breakable(text)] for name, text in facts]


def _stated(*facts: tuple[str, str]) -> list[list[str]]:
    return [[name, breakable(text)] for name, text in facts if text]


def _shown_strips(results: Results) -> list[Strip]:
    parts = [one.part_of_limit for one in results.budgets] or [0.0] * len(results.strips)
    nearest = (
        sorted(
            (pair for pair in zip(results.strips, parts, strict=True) if pair[0].bars),
            key=lambda pair: pair[1],
            reverse=True,
        )
        if results.strips
        else []
    )
    count = len(results.strips)
    shown = next((strips for most, strips in STRIPS_UP_TO if count <= most), STRIPS_OF_A_LONG_CHECK)
    return sorted((strip for strip, _ in nearest[:shown]), key=lambda strip: strip.bars[0].value)


def _strips(results: Results) -> list[dict[str, str]]:
    strips = _shown_strips(results)
    if not strips:
        return []
    span = strip_span([strip.bars for strip in strips])
    return [
        {
            "words": " ".join(
                f"{one.name} {rounded_text(one.value, places)} {strip.unit} ± "
                f"{rounded_text(one.expanded_u, places)} {unit_of_uncertainty(strip.unit)};"
                for one in strip.bars
                for places in (decimals_of(one.expanded_u),)
            ),
            "svg": strip_svg(
                strip.bars,
                unit=strip.unit,
                verdict=strip.verdict,
                width_px=_STRIP_ALONE_WIDTH_PX if results.bars is None else _STRIP_WIDTH_PX,
                span=span,
                title=f"Agreement at {strip.title}",
            ),
        }
        for strip in strips
    ]


def _strips_note(results: Results) -> str:
    if results.strips_words:
        return results.strips_words
    shown, there = len(_shown_strips(results)), len(results.strips)
    unit = results.strips[0].unit if results.strips else "°C"
    if shown == there and any(bar.agreement for strip in results.strips for bar in strip.bars):
        return f"Who says what, in {unit}, each with its U: ◆ does not agree with the first."
    if shown == there:
        return f"Who says what, in {unit}: bars that overlap agree, a gap is a disagreement."
    which = "nearest the limit" if results.has_limits else "where error and U are largest"
    return f"Who says what, in {unit}, at {shown} of {there} points: {which}."


def _section(section: Any) -> dict[str, Any]:
    return {
        "title": breakable(section.title),
        "lines": [breakable(with_minus(line)) for line in section.lines if line],
        "coefficients": [_coefficient(one) for one in section.coefficients],
    }


def _coefficient(one: Coefficient) -> list[str]:
    u_text = "not stated" if one.standard_u is None else scientific(one.standard_u, 2)
    return [
        breakable(_COEFFICIENT_WORDS.get(one.name, one.name)),
        scientific(one.value, COEFFICIENT_DIGITS),
        u_text,
    ]


def _budget(results: Results) -> dict[str, Any] | None:
    worst = results.worst()
    if worst is None:
        return None
    return {
        "title": breakable(f"Error at {worst.title}{_which_point(results)}"),
        "lines": [_budget_line(line) for line in worst.budget.lines],
        "sum": _budget_sum(worst.budget),
        "unit": worst.budget.unit,
    }


def _which_point(results: Results) -> str:
    if len(results.budgets) == 1:
        return ""
    if results.has_limits:
        return ", the point nearest to or furthest beyond its limit"
    return ", where error and U together are largest"


def _budget_line(line: BudgetLine) -> list[str]:
    return [
        breakable(line.quantity),
        _with_unit(estimate_text(line), line.unit),
        _with_unit(two_digits(line.standard_u), line.unit),
        line.distribution.value,
        degrees_of_freedom_text(line.degrees_of_freedom),
        scientific(line.sensitivity, 3),
        two_digits(line.contribution),
    ]


def _with_unit(text: str, unit: str) -> str:
    return text if unit == "1" else f"{text} {unit}"


def _budget_sum(budget: Budget) -> dict[str, str]:
    return {
        "u": two_digits(budget.standard_u),
        "degrees": degrees_of_freedom_text(budget.degrees_of_freedom),
        "k": f"{budget.k:.2f}",
        "expanded_u": two_digits(budget.expanded_u),
    }


def _other_budgets(results: Results) -> list[str]:
    worst = results.worst()
    return [
        _budget_in_short(one, with_source=not _is_long(results))
        for one in results.budgets
        if one is not worst
    ]


def _budget_in_short(one: StatedBudget, *, with_source: bool) -> str:
    total, unit = _budget_sum(one.budget), one.budget.unit
    words = (
        f"{breakable(one.short)}: u\u00a0=\u00a0{total['u']}\u00a0{unit}, d.o.f.\u00a0{total['degrees']}, "
        f"k\u00a0=\u00a0{total['k']}, U\u00a0=\u00a0{total['expanded_u']}\u00a0{unit}"
    )
    largest = max(one.budget.lines, key=lambda line: line.contribution, default=None)
    return f"{words}, most from {breakable(largest.quantity)}" if with_source and largest else words


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
        breakable(f"Certificate {found.number}, measured {found.measured}: {found.verdict.words}."),
        f"Error {errors}.",
        breakable(f"Done between the two checks: {found.done}."),
    ]


def _remarks(certificate: Certificate) -> list[str]:
    interval = () if certificate.next_due or certificate.kind is Kind.IN_PLACE else (INTERVAL_LINE,)
    clock = tuple(line for line in (simulated_clock_line(certificate),) if line)
    said = (*certificate.remarks, *clock, " ".join((RELATES_LINE, ACCREDITATION_LINE, *interval)))
    return [breakable(text) for text in said]


def _chain(certificate: Certificate) -> list[str]:
    lines = []
    if certificate.supersedes:
        lines.append(
            f"Takes the place of {certificate.supersedes}, which is void. Changed: {certificate.change}"
        )
    if certificate.previous_head:
        before = certificate.previous_number or "none"
        lines.append(f"Issued after {before}; head of the chain there: {certificate.previous_head}")
    return [breakable(line) for line in lines]
