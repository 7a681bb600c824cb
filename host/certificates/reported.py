"""The characters in which each number of a certificate is reported, on paper and in data.

One function for each value that holds numbers: field by field, rounded to the uncertainty it
belongs to. A value that is registered here can be written as canonical JSON.
"""

from collections.abc import Mapping, Sequence
from functools import singledispatch
from typing import Any

from calibration.rounding import decimals_of, rounded_text, tabled_limit_text, two_digits
from calibration.uncertainty.budget import Budget, BudgetLine
from host.certificates.as_found import FoundPoint
from host.certificates.bodies.in_place import RecordedFinding, RecordedGap, RecordedReading
from host.certificates.bodies.infrared import CertifiedShots
from host.certificates.bodies.ohms import CertifiedOhms
from host.certificates.bodies.reference_probe import CertifiedProbePoint
from host.certificates.bodies.station_round import RoundComparison, StationResult
from host.certificates.certificate import CertifiedPoint, Coefficient, Witness
from host.certificates.printed import (
    COEFFICIENT_DIGITS,
    degrees_of_freedom_text,
    estimate_text,
    printed_found,
    printed_point,
    printed_witness,
    scientific,
    signed_limit_text,
    signed_text,
)
from host.certificates.wrong_statement import probability_text, probability_wrong_of

Texts = Mapping[str, str | Sequence[str]]


@singledispatch
def reported_texts(value: Any) -> Texts:
    """Reported characters of the number fields of a value, by field."""
    return {}


@singledispatch
def derived_numbers(value: Any) -> Mapping[str, tuple[float, str]]:
    """Numbers that follow from the fields of a value: in full, and as reported."""
    return {}


@reported_texts.register
def _(point: CertifiedPoint) -> Texts:
    printed = printed_point(point)
    names = ("temperature_c", "resistance_ohm", "indicated_c", "error_k", "expanded_u_k", "k", "limit_k")
    return {name: getattr(printed, name) for name in names} | {
        "u_resistance_ohm": two_digits(point.u_resistance_ohm),
        "limits_k": [signed_limit_text(side, point.expanded_u_k) for side in point.limits_k or ()],
    }


@derived_numbers.register
def _(point: CertifiedPoint) -> Mapping[str, tuple[float, str]]:
    expanded_u_ohm = point.k * point.u_resistance_ohm
    return {"expanded_u_resistance_ohm": (expanded_u_ohm, two_digits(expanded_u_ohm))} | _probability_wrong(
        point
    )


@reported_texts.register
def _(found: FoundPoint) -> Texts:
    printed = printed_found(found)
    texts = {name: getattr(printed, name) for name in ("temperature_c", "error_k", "expanded_u_k")}
    return texts if found.k is None else texts | {"k": rounded_text(found.k, 2)}


@reported_texts.register
def _(witness: Witness) -> Texts:
    printed = printed_witness(witness)
    return {"temperature_c": printed.temperature_c, "expanded_u_k": printed.expanded_u_k}


@reported_texts.register
def _(coefficient: Coefficient) -> Texts:
    texts = {"value": scientific(coefficient.value, COEFFICIENT_DIGITS)}
    if coefficient.standard_u is not None:
        texts["standard_u"] = scientific(coefficient.standard_u, 2)
    return texts


@reported_texts.register
def _(budget: Budget) -> Texts:
    return {
        "estimate": rounded_text(budget.estimate, decimals_of(budget.expanded_u)),
        "standard_u": two_digits(budget.standard_u),
        "degrees_of_freedom": degrees_of_freedom_text(budget.degrees_of_freedom),
        "k": rounded_text(budget.k, 2),
    }


@reported_texts.register
def _(line: BudgetLine) -> Texts:
    return {
        "estimate": estimate_text(line),
        "standard_u": two_digits(line.standard_u),
        "degrees_of_freedom": degrees_of_freedom_text(line.degrees_of_freedom),
        "sensitivity": scientific(line.sensitivity, 3),
    }


@reported_texts.register
def _(point: CertifiedShots) -> Texts:
    places = decimals_of(point.expanded_u_k)
    return {
        "face_c": rounded_text(point.face_c, places),
        "expected_c": rounded_text(point.expected_c, places),
        "shown_c": rounded_text(point.shown_c, places),
        "shots_c": [rounded_text(shot, max(places, 1)) for shot in point.shots_c],
    } | _error_texts(point, "k")


@derived_numbers.register
def _(point: CertifiedShots) -> Mapping[str, tuple[float, str]]:
    return _probability_wrong(point)


@reported_texts.register
def _(point: CertifiedProbePoint) -> Texts:
    places = decimals_of(point.expanded_u_k)
    ohm_places = decimals_of(point.k * point.u_resistance_ohm)
    return {
        "reference_c": rounded_text(point.reference_c, places),
        "shown_c": rounded_text(point.shown_c, places),
        "resistance_ohm": rounded_text(point.resistance_ohm, ohm_places),
        "u_resistance_ohm": two_digits(point.u_resistance_ohm),
    } | _error_texts(point, "k")


@derived_numbers.register
def _(point: CertifiedProbePoint) -> Mapping[str, tuple[float, str]]:
    expanded_u_ohm = point.k * point.u_resistance_ohm
    return {"expanded_u_resistance_ohm": (expanded_u_ohm, two_digits(expanded_u_ohm))} | _probability_wrong(
        point
    )


@reported_texts.register
def _(point: CertifiedOhms) -> Texts:
    places = decimals_of(point.expanded_u_ohm)
    texts = {
        "setting_ohm": f"{point.setting_ohm:.10g}",
        "true_ohm": rounded_text(point.true_ohm, places),
        "shown_ohm": rounded_text(point.shown_ohm, places),
    }
    if point.found_ohm is not None:
        texts["found_ohm"] = rounded_text(point.found_ohm, places)
    if point.k_per_ohm is not None:
        texts["k_per_ohm"] = f"{point.k_per_ohm:.3g}"
    return texts | _error_texts(point, "ohm")


@derived_numbers.register
def _(point: CertifiedOhms) -> Mapping[str, tuple[float, str]]:
    derived = dict(_probability_wrong(point))
    if point.found_ohm is not None:
        found_error_ohm = point.found_ohm - point.true_ohm
        text = signed_text(found_error_ohm, decimals_of(point.expanded_u_ohm))
        # Of the same lines as that of the error as left: see `calibration.resistance.error_as_found`.
        found_u = (point.expanded_u_ohm, two_digits(point.expanded_u_ohm))
        derived = {"found_error_ohm": (found_error_ohm, text), "found_expanded_u_ohm": found_u} | derived
    if point.k_per_ohm is not None:
        error_k = point.error_ohm * point.k_per_ohm
        expanded_u_k = point.expanded_u_ohm * abs(point.k_per_ohm)
        places = decimals_of(expanded_u_k)
        derived["equivalent_error_k"] = (error_k, signed_text(error_k, places))
        derived["equivalent_expanded_u_k"] = (expanded_u_k, rounded_text(expanded_u_k, places))
    return derived


@reported_texts.register
def _(result: StationResult) -> Texts:
    places = decimals_of(result.expanded_u)
    texts = {
        "value": rounded_text(result.value, places),
        "expanded_u": rounded_text(result.expanded_u, places),
        "k": rounded_text(result.k, 2),
    }
    if result.assigned is not None and result.assigned_expanded_u is not None:
        places = decimals_of(result.assigned_expanded_u)
        texts["assigned"] = rounded_text(result.assigned, places)
        texts["assigned_expanded_u"] = rounded_text(result.assigned_expanded_u, places)
    if result.difference is not None and result.difference_expanded_u is not None:
        places = decimals_of(result.difference_expanded_u)
        texts["difference"] = signed_text(result.difference, places)
        texts["difference_expanded_u"] = rounded_text(result.difference_expanded_u, places)
    return texts if result.en is None else texts | {"en": signed_text(result.en, 2)}


@reported_texts.register
def _(comparison: RoundComparison) -> Texts:
    texts = {}
    if comparison.reference is not None and comparison.reference_expanded_u is not None:
        places = decimals_of(comparison.reference_expanded_u)
        texts["reference"] = rounded_text(comparison.reference, places)
        texts["reference_expanded_u"] = rounded_text(comparison.reference_expanded_u, places)
    if comparison.reference_k is not None:
        texts["reference_k"] = rounded_text(comparison.reference_k, 2)
    if comparison.robust_mean is not None and comparison.robust_standard_u is not None:
        robust_places = decimals_of(comparison.robust_standard_u)
        texts["robust_mean"] = rounded_text(comparison.robust_mean, robust_places)
        texts["robust_standard_u"] = rounded_text(comparison.robust_standard_u, robust_places)
    if comparison.robust_spread is not None:
        texts["robust_spread"] = two_digits(comparison.robust_spread)
    return texts


@reported_texts.register
def _(reading: RecordedReading) -> Texts:
    places = decimals_of(reading.expanded_u_k)
    return {
        "temperature_c": rounded_text(reading.temperature_c, places),
        "expanded_u_k": rounded_text(reading.expanded_u_k, places),
    }


@reported_texts.register
def _(gap: RecordedGap) -> Texts:
    places = decimals_of(gap.expanded_u_k)
    return {
        "gap_k": rounded_text(gap.gap_k, places),
        "expanded_u_k": rounded_text(gap.expanded_u_k, places),
    }


@reported_texts.register
def _(finding: RecordedFinding) -> Texts:
    places = decimals_of(finding.expanded_u_k)
    return {
        "size_k": signed_text(finding.size_k, places),
        "expanded_u_k": rounded_text(finding.expanded_u_k, places),
        "allowance_k": tabled_limit_text(finding.allowance_k, finding.expanded_u_k),
    }


def _error_texts(point: Any, unit: str) -> dict[str, str]:
    expanded_u = getattr(point, f"expanded_u_{unit}")
    limit = getattr(point, f"limit_{unit}")
    places = decimals_of(expanded_u)
    texts = {
        f"error_{unit}": signed_text(getattr(point, f"error_{unit}"), places),
        f"expanded_u_{unit}": rounded_text(expanded_u, places),
        "k": rounded_text(point.k, 2),
    }
    return texts if limit is None else texts | {f"limit_{unit}": tabled_limit_text(limit, expanded_u)}


def _probability_wrong(point: Any) -> dict[str, tuple[float, str]]:
    wrong = probability_wrong_of(point)
    return {} if wrong is None else {"probability_wrong": (wrong, probability_text(wrong))}
