"""Methods, equipment, conditions and results of a digital calibration certificate."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from calibration.conformity import Verdict
from calibration.station_round import Agreement
from host.certificates.certificate import Certificate
from host.certificates.dcc_elements import dcc, number_list, one_line, said, statement
from host.certificates.dcc_units import unit_of_uncertainty
from host.certificates.paper_lines import coverage_line, rule_lines, traceability_line
from host.certificates.printed import printed_found
from host.certificates.results.results import Column, Results, ResultTable, Role

#: Names of what a column is, after the good practice guide for such certificates (from memory).
REF_TYPES = {
    Role.NOMINAL: "basic_nominalValue",
    Role.REFERENCE: "basic_referenceValue",
    Role.SHOWN: "basic_measuredValue",
    Role.ERROR: "basic_measurementError",
}
_CONFORMITY = {Verdict.IN_TOLERANCE: "pass", Verdict.OUT_OF_TOLERANCE: "fail"}
_NOT_A_HASH = "not applicable"


def add_measurement(parent: ET.Element, certificate: Certificate, results: Results) -> None:
    """The one measurement of a certificate."""
    measurement = dcc(parent, "measurementResult")
    said(measurement, "name", results.measurand)
    _add_methods(measurement, certificate)
    _add_equipment(measurement, certificate)
    _add_conditions(measurement, certificate)
    listed = dcc(measurement, "results")
    for table in results.tables:
        _add_table(listed, table)
    _add_as_found(listed, certificate)
    _add_meta_data(measurement, certificate, results)


def conformity_word(verdict: Verdict, error: float | None, limit: float | None) -> str:
    """Statement in the words of the schema; what is not decided is told from what side it lies on.

    ILAC-G8:09/2019, 4.2.3: within the limit, but not clear of it, is a conditional pass; beyond it a
    conditional fail.
    """
    if verdict is not Verdict.NOT_DECIDED:
        return _CONFORMITY[verdict]
    within = error is not None and limit is not None and abs(error) <= limit
    return "conditionalPass" if within else "conditionalFail"


def _add_methods(parent: ET.Element, certificate: Certificate) -> None:
    method = dcc(dcc(parent, "usedMethods"), "usedMethod")
    said(method, "name", certificate.method)
    one_line(method, "norm", "JCGM 100:2008")


def _add_equipment(parent: ET.Element, certificate: Certificate) -> None:
    if not certificate.instruments:
        return
    equipment = dcc(parent, "measuringEquipments")
    for one in certificate.instruments:
        element = dcc(equipment, "measuringEquipment", refType="basic_measurementStandard")
        said(element, "name", one.role)
        paper = dcc(element, "certificate")
        said(paper, "referral", "certificate of this instrument")
        one_line(paper, "referralID", one.certificate)
        # The schema wants a digest of that paper; the shop has it on paper alone.
        one_line(paper, "procedure", _NOT_A_HASH)
        one_line(paper, "value", _NOT_A_HASH)
        said(paper, "description", f"valid until: {one.due}")
        identification = dcc(dcc(element, "identifications"), "identification")
        dcc(identification, "issuer", "other")
        one_line(identification, "value", one.serial)
        said(identification, "name", "serial")
        quantity = dcc(dcc(element, "measuringEquipmentQuantities"), "measuringEquipmentQuantity")
        said(quantity, "name", "expanded uncertainty of its certificate")
        said(quantity, "noQuantity", one.expanded_u)


def _add_conditions(parent: ET.Element, certificate: Certificate) -> None:
    stated = list(certificate.conditions)
    if certificate.item_condition:
        stated.append(("condition of the item", certificate.item_condition))
    listed = dcc(parent, "influenceConditions")
    for name, words in stated or [("conditions", "")]:
        condition = dcc(listed, "influenceCondition")
        said(condition, "name", name)
        if certificate.as_found is not None and words == certificate.item_condition:
            dcc(condition, "status", "afterAdjustment")
        said(dcc(condition, "data"), "text", words)


def _add_table(parent: ET.Element, table: ResultTable) -> None:
    result = dcc(parent, "result")
    said(result, "name", table.title or "Results")
    if table.note:
        said(result, "description", table.note)
    listed = dcc(dcc(result, "data"), "list", refType="basic_table")
    k_texts = [f"{k:.2f}" for k in table.k]
    for column in table.columns:
        if column.role in REF_TYPES:
            _add_column(listed, column, k_texts, row_labels(table))


def row_labels(table: ResultTable) -> list[str]:
    """One word for each row; a space would end an entry of the list. Empty where rows have no words.

    Only words that tell rows apart are taken: how a reading was taken may be a sentence.
    """
    if not table.labels:
        return []
    _, texts = table.labels[0]
    return ["_".join(text.split()) or "-" for text in texts]


def _add_column(parent: ET.Element, column: Column, k_texts: Sequence[str], labels: Sequence[str]) -> None:
    quantity = dcc(parent, "quantity", refType=f"{REF_TYPES[column.role]} ohmbath_{column.key}")
    said(quantity, "name", column.name)
    if column.u_texts and not column.prints_u:
        said(quantity, "description", "Its uncertainty is at most that of the error, which holds it.")
    number_list(
        quantity,
        column.texts,
        column.unit,
        u_texts=column.u_texts,
        k_texts=([f"{k:.2f}" for k in column.k] or k_texts) if column.u_texts else (),
        labels=labels,
    )


def _add_as_found(parent: ET.Element, certificate: Certificate) -> None:
    found = certificate.as_found
    if found is None:
        return
    result = dcc(parent, "result")
    said(result, "name", "As found")
    said(
        result,
        "description",
        f"Certificate {found.number}, measured {found.measured}: {found.verdict.words}.",
        f"Done between the two checks: {found.done}.",
    )
    printed = [printed_found(point) for point in found.points]
    data = dcc(result, "data")
    if any(point.k is None for point in found.points):
        said(
            data,
            "text",
            *(f"{one.temperature_c} °C: {one.error_k} K ± {one.expanded_u_k} K" for one in printed),
        )
        return
    k_texts = [f"{point.k:.2f}" for point in found.points]
    u_texts = [one.expanded_u_k for one in printed]
    listed = dcc(data, "list")
    for name, ref_type, texts, unit in (
        ("temperature", REF_TYPES[Role.REFERENCE], [one.temperature_c for one in printed], "°C"),
        ("error as found", REF_TYPES[Role.ERROR], [one.error_k for one in printed], "K"),
    ):
        quantity = dcc(listed, "quantity", refType=ref_type)
        said(quantity, "name", name)
        number_list(quantity, texts, unit, u_texts=u_texts, k_texts=k_texts)


def _add_meta_data(parent: ET.Element, certificate: Certificate, results: Results) -> None:
    listed = dcc(parent, "measurementMetaData")
    statement(listed, "metaData", "traceability", traceability_line(certificate))
    statement(listed, "metaData", "uncertainty", coverage_line(results))
    for table in results.tables:
        for name, texts in table.labels[1:]:
            rows = zip(table.labels[0][1], texts, strict=True)
            statement(listed, "metaData", name, *(f"{row}: {text}" for row, text in rows))
        _add_conformity(listed, certificate, results, table)
        _add_agreement(listed, table)
    for name, words in results.facts:
        if words:
            statement(listed, "metaData", name, words)
    for section in results.sections:
        statement(listed, "metaData", section.title, *(line for line in section.lines if line))
        if section.coefficients:
            _add_coefficients(listed, section.title, section.coefficients)
    for column in (column for table in results.tables for column in table.columns):
        if column.role is Role.DERIVED:
            _add_data(listed, column.name, column)


def _add_conformity(
    parent: ET.Element, certificate: Certificate, results: Results, table: ResultTable
) -> None:
    verdicts = [verdict for verdict in table.verdicts if isinstance(verdict, Verdict)]
    if len(verdicts) < len(table.verdicts):
        return
    errors = _values(table, Role.ERROR)
    limits = _values(table, Role.LIMIT)
    element = dcc(parent, "metaData", refType="basic_conformity")
    said(element, "name", f"conformity {table.title}".strip())
    if certificate.rule_words:
        one_line(element, "norm", "ILAC-G8:09/2019")
        said(element, "declaration", *rule_lines(certificate, results))
    words = [
        conformity_word(verdict, error, limit)
        for verdict, error, limit in zip(verdicts, errors, limits, strict=True)
    ]
    dcc(element, "conformityXMLList", " ".join(words))
    for column in table.columns:
        if column.role is Role.LIMIT:
            quantity = dcc(dcc(dcc(element, "data"), "list"), "quantity", refType="basic_tolerance")
            said(quantity, "name", column.name)
            number_list(quantity, column.texts, column.unit)


def _add_agreement(parent: ET.Element, table: ResultTable) -> None:
    """Which stations agree: a statement on the comparison, and no conformity with a tolerance."""
    said_of = [
        f"{label}: {one.words}"
        for label, one in zip(row_labels(table), table.verdicts, strict=False)
        if isinstance(one, Agreement)
    ]
    if said_of:
        statement(parent, "metaData", f"agreement {table.title}".strip(), *said_of)


def _values(table: ResultTable, role: Role) -> Sequence[float | None]:
    return next(
        (column.values for column in table.columns if column.role is role), (None,) * len(table.verdicts)
    )


def _add_coefficients(parent: ET.Element, title: str, coefficients: Sequence[object]) -> None:
    element = dcc(parent, "metaData")
    said(element, "name", f"{title}, coefficients")
    data = dcc(element, "data")
    for one in coefficients:
        said(data, "text", f"{one.name} = {one.value!r}, standard uncertainty {one.standard_u!r}")  # type: ignore[attr-defined]


def _add_data(parent: ET.Element, name: str, column: Column) -> None:
    element = dcc(parent, "metaData")
    said(element, "name", name)
    quantity = dcc(dcc(dcc(element, "data"), "list"), "quantity", refType=f"ohmbath_{column.key}")
    said(quantity, "name", name)
    number_list(quantity, column.texts, unit_of_uncertainty(column.unit))
