"""The certificate as a digital calibration certificate (DCC 3.3.0, D-SI 2.2.0), for other people's programs.

Numbers stand in the characters of the paper. Country and digests of other papers are not known to the shop;
where the schema insists on one, the file says that it is not known.
"""

import datetime
import re
import xml.etree.ElementTree as ET

from host.certificates.certificate import Certificate
from host.certificates.dcc_elements import DCC, NOT_STATED, SI, contact, dcc, one_line, said, statement
from host.certificates.dcc_results import add_measurement
from host.certificates.kind import Kind
from host.certificates.paper_lines import (
    ACCREDITATION_LINE,
    DRAFT_LINE,
    INTERVAL_LINE,
    RELATES_LINE,
    WHOLE_LINE,
    simulated_clock_line,
    simulated_line,
)
from host.certificates.printable import issued_moment, printable
from host.certificates.results.by_kind import results_of
from host.certificates.results.of_in_place import RECORD_LINE
from host.certificates.results.results import Results

SCHEMA_VERSION = "3.3.0"
SCHEMA_LOCATION = f"{DCC} https://ptb.de/dcc/v3.3.0/dcc.xsd"
#: ISO 3166-1 keeps this code free for its users: the country is not known.
UNKNOWN_COUNTRY = "ZZ"
_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
_NO_DATES_LINE = "The dates of the measurement are not known as dates; the date of issue stands in for them."


def dcc_xml(certificate: Certificate) -> bytes:
    """XML of a certificate; the same certificate gives the same bytes.

    Raises
    ------
    CertificateError
        If the certificate cannot be printed: what the paper cannot say, the data do not say.
    """
    checked = printable(certificate)
    return xml_of_printable(checked, results_of(checked))


def xml_of_printable(checked: Certificate, results: Results) -> bytes:
    """The same of a certificate that went through `host.certificates.printable` already."""
    ET.register_namespace("dcc", DCC)
    ET.register_namespace("si", SI)
    root = ET.Element(f"{{{DCC}}}digitalCalibrationCertificate", {"schemaVersion": SCHEMA_VERSION})
    root.set(f"{{{_INSTANCE}}}schemaLocation", SCHEMA_LOCATION)
    _add_administrative(root, checked, results)
    add_measurement(dcc(root, "measurementResults"), checked, results)
    ET.indent(root, " ")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="utf-8") + b"\n"


def performed(certificate: Certificate) -> tuple[str, str, bool]:
    """First and last day of the measurement, and whether they are known; else the day of issue."""
    days = [day for day in _DATE.findall(certificate.measured) if _is_day(day)]
    if days:
        return min(days), max(days), True
    issued = issued_moment(certificate).date().isoformat()
    return issued, issued, False


def _is_day(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _add_administrative(root: ET.Element, certificate: Certificate, results: Results) -> None:
    data = dcc(root, "administrativeData")
    software = dcc(data, "dccSoftware")
    for name, version in certificate.software or ((NOT_STATED, NOT_STATED),):
        element = dcc(software, "software")
        said(element, "name", name)
        one_line(element, "release", version)
    _add_core(data, certificate)
    _add_item(data, certificate, results.identification)
    contact(dcc(data, "calibrationLaboratory"), "contact", certificate.shop, certificate.shop_address)
    _add_persons(data, certificate)
    contact(data, "customer", certificate.customer, certificate.customer_contact)
    _add_statements(data, certificate)


def _add_core(parent: ET.Element, certificate: Certificate) -> None:
    core = dcc(parent, "coreData")
    dcc(core, "countryCodeISO3166_1", UNKNOWN_COUNTRY)
    dcc(core, "usedLangCodeISO639_1", "en")
    dcc(core, "mandatoryLangCodeISO639_1", "en")
    one_line(core, "uniqueIdentifier", certificate.number)
    identification = dcc(dcc(core, "identifications"), "identification")
    dcc(identification, "issuer", "calibrationLaboratory")
    one_line(identification, "value", certificate.kind.value)
    said(identification, "name", "kind")
    if _is_day(certificate.received):
        dcc(core, "receiptDate", certificate.received)
    first, last, _ = performed(certificate)
    dcc(core, "beginPerformanceDate", first)
    dcc(core, "endPerformanceDate", last)
    elsewhere = certificate.place or certificate.kind is Kind.IN_PLACE
    dcc(core, "performanceLocation", "other" if elsewhere else "laboratory")
    dcc(core, "issueDate", issued_moment(certificate).date().isoformat())
    if certificate.supersedes:
        changed = dcc(core, "reportAmendedSubstituted")
        dcc(changed, "typeOfChange", "amended")
        one_line(changed, "replacedUniqueIdentifier", certificate.supersedes)


def _add_item(parent: ET.Element, certificate: Certificate, serial: str) -> None:
    item = dcc(dcc(parent, "items"), "item")
    said(item, "name", certificate.item)
    if certificate.item_condition:
        said(item, "description", certificate.item_condition)
    identifications = dcc(item, "identifications")
    identification = dcc(identifications, "identification")
    dcc(identification, "issuer", "calibrationLaboratory")
    one_line(identification, "value", certificate.item)
    if serial:
        by_serial = dcc(identifications, "identification")
        dcc(by_serial, "issuer", "other")
        one_line(by_serial, "value", serial)
        said(by_serial, "name", "serial")


def _add_persons(parent: ET.Element, certificate: Certificate) -> None:
    persons = dcc(parent, "respPersons")
    signer = dcc(persons, "respPerson")
    contact(signer, "person", certificate.authorised_by, located=False)
    dcc(signer, "role", "authorised by")
    dcc(signer, "mainSigner", "true")
    if certificate.operator:
        operator = dcc(persons, "respPerson")
        contact(operator, "person", certificate.operator, located=False)
        dcc(operator, "role", "measured by")


def _add_statements(parent: ET.Element, certificate: Certificate) -> None:
    listed = dcc(parent, "statements")
    for name, texts in _statements(certificate):
        if any(texts):
            statement(listed, "statement", name, *(text for text in texts if text))


def _statements(certificate: Certificate) -> tuple[tuple[str, tuple[str, ...]], ...]:
    is_record = certificate.kind is Kind.IN_PLACE
    _, _, dates_known = performed(certificate)
    return (
        ("title", (certificate.kind.title,)),
        ("simulated", (simulated_line(certificate), simulated_clock_line(certificate))),
        ("draft", (DRAFT_LINE if certificate.draft else "",)),
        ("record", (RECORD_LINE if is_record else "",)),
        ("result", (certificate.sentence,)),
        ("measured", (certificate.measured, "" if dates_known else _NO_DATES_LINE)),
        ("place", (certificate.place,)),
        ("received", (certificate.received,)),
        ("relates only", (RELATES_LINE,)),
        ("accreditation", (ACCREDITATION_LINE,)),
        ("copying", (WHOLE_LINE,)),
        ("next calibration", _next_calibration(certificate)),
        ("from others", certificate.external),
        ("not done", certificate.not_done),
        ("opinion, not measured", certificate.opinions),
        ("remarks", certificate.remarks),
        ("readings", certificate.citations),
        ("changed", (certificate.change,)),
        ("chain", (certificate.previous_number, certificate.previous_head)),
    )


def _next_calibration(certificate: Certificate) -> tuple[str, ...]:
    if certificate.next_due:
        return (f"{certificate.next_due}, as agreed with the customer",)
    return () if certificate.kind is Kind.IN_PLACE else (INTERVAL_LINE,)
