"""The certificate as a digital calibration certificate: what must be there, and what the schema lets pass.

The files were checked against the schema by hand (see DEVELOPERS.md); it is no part of the product. The
checks here are its own, after the rules of D-SI 2.2.0 (lists of one length, units of the SI brochure behind a
backslash) and ISO/IEC 17025:2017, 7.8.2 and 7.8.4; names of elements are those of DCC 3.3.0.
"""

import dataclasses
import importlib
import io
import sys
import types
import warnings
import xml.etree.ElementTree as ET

import pypdf
import pytest

from calibration.conformity import Verdict
from host.certificates.as_found import AsFound, FoundPoint
from host.certificates.attached import XML_ATTACHMENT, attached_file
from host.certificates.dcc import dcc_xml, performed
from host.certificates.dcc_elements import number_list
from host.certificates.dcc_results import conformity_word
from host.certificates.errors import CertificateError
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}
#: Units as D-SI spells them, from the SI brochure, 9th edition: kelvin, degree Celsius, ohm, one.
KNOWN_UNITS = {r"\kelvin", r"\degreecelsius", r"\ohm", r"\one"}
WITHOUT_UNCERTAINTY = {"basic_nominalValue", "basic_tolerance", "ohmbath_en"}
CONFORMITY = {"pass", "fail", "conditionalPass", "conditionalFail", "noPass", "noFail"}


def faults_of(root: ET.Element) -> list[str]:
    """What is wrong with a certificate that the schema does not see."""
    return [*_list_faults(root), *_missing(root), *_conformity_faults(root)]


def _list_faults(root: ET.Element) -> list[str]:
    found = []
    for quantity in root.iter(f"{{{NAMES['dcc']}}}quantity"):
        numbers = quantity.find("si:realListXMLList", NAMES)
        if numbers is None:
            continue
        name = quantity.findtext("dcc:name/dcc:content", namespaces=NAMES)
        values = numbers.findtext("si:valueXMLList", "", NAMES).split()
        units = numbers.findtext("si:unitXMLList", "", NAMES).split()
        labels = numbers.findtext("si:labelXMLList", None, NAMES)
        if labels is not None and len(labels.split()) != len(values):
            found.append(f"{name}: {len(labels.split())} labels for {len(values)} values")
        if len(units) != len(values):
            found.append(f"{name}: {len(units)} units for {len(values)} values")
        found += [f"{name}: no such unit {unit}" for unit in units if unit not in KNOWN_UNITS]
        if WITHOUT_UNCERTAINTY & set(quantity.get("refType", "").split()):
            continue
        for part in ("valueExpandedMU", "coverageFactor", "coverageProbability"):
            stated = numbers.findtext(f".//si:{part}XMLList", "", NAMES).split()
            if len(stated) != len(values):
                found.append(f"{name}: {len(stated)} of {part} for {len(values)} values")
    return found


def _missing(root: ET.Element) -> list[str]:
    needed = {
        "number": ".//dcc:coreData/dcc:uniqueIdentifier",
        "first day": ".//dcc:coreData/dcc:beginPerformanceDate",
        "last day": ".//dcc:coreData/dcc:endPerformanceDate",
        "day of issue": ".//dcc:coreData/dcc:issueDate",
        "shop": ".//dcc:calibrationLaboratory/dcc:contact/dcc:name/dcc:content",
        "address": ".//dcc:calibrationLaboratory/dcc:contact/dcc:location/dcc:further/dcc:content",
        "customer": ".//dcc:customer/dcc:name/dcc:content",
        "item": ".//dcc:items/dcc:item/dcc:name/dcc:content",
        "who answers": ".//dcc:respPerson/dcc:person/dcc:name/dcc:content",
        "method": ".//dcc:usedMethod/dcc:name/dcc:content",
        "condition": ".//dcc:influenceCondition/dcc:data/dcc:text/dcc:content",
        "equipment": ".//dcc:measuringEquipment/dcc:identifications/dcc:identification/dcc:value",
        "certificate of the equipment": ".//dcc:measuringEquipment/dcc:certificate/dcc:referralID",
        "result": ".//dcc:result/dcc:data/dcc:list/dcc:quantity",
    }
    found = [what for what, path in needed.items() if not (root.findtext(path, None, NAMES) or "").strip()
             and root.find(path, NAMES) is None]  # fmt: skip
    equipment = root.findall(".//dcc:measuringEquipment", NAMES)
    papers = root.findall(".//dcc:measuringEquipment/dcc:certificate/dcc:referralID", NAMES)
    if len(equipment) != len(papers):
        found.append("an instrument has no certificate")
    return [f"no {what}" for what in found]


def _conformity_faults(root: ET.Element) -> list[str]:
    found = []
    lists = root.findall(".//dcc:result//dcc:list", NAMES)
    rows = {len(one.findtext(".//si:valueXMLList", "", NAMES).split()) for one in lists}
    for stated in root.iter(f"{{{NAMES['dcc']}}}conformityXMLList"):
        words = (stated.text or "").split()
        if set(words) - CONFORMITY:
            found.append(f"no such statement: {words}")
        if len(words) not in rows:
            found.append(f"{len(words)} statements for {sorted(rows)} rows")
    return found


@pytest.fixture(scope="module", params=list(Kind), ids=lambda kind: kind.value)
def root(request, of_kind):
    return ET.fromstring(dcc_xml(of_kind(request.param)))


def test_every_kind_says_all_that_a_reader_needs_with_lists_of_one_length(root):
    assert faults_of(root) == []


def test_the_schema_named_is_3_3_0(root):
    # The version that has a day of issue and an amended certificate; 3.1.2 has neither.
    assert root.get("schemaVersion") == "3.3.0"
    place = root.get("{http://www.w3.org/2001/XMLSchema-instance}schemaLocation")
    assert place == "https://ptb.de/dcc https://ptb.de/dcc/v3.3.0/dcc.xsd"


@pytest.mark.parametrize(
    ("path", "text", "fault"),
    [
        (".//si:valueXMLList", "25.0 60.0", "3 units for 2 values"),
        (".//si:unitXMLList", r"\degC \degC \degC", "no such unit"),
        (".//si:valueExpandedMUXMLList", "0.1", "1 of valueExpandedMU for 3 values"),
        (".//si:coverageFactorXMLList", "2", "1 of coverageFactor"),
        (".//dcc:conformityXMLList", "pass", "1 statements for"),
        (".//dcc:conformityXMLList", "good pass fail", "no such statement"),
    ],
)
def test_the_checks_see_what_the_schema_lets_pass(sample, path, text, fault):
    damaged = ET.fromstring(dcc_xml(sample))
    damaged.find(path, NAMES).text = text
    assert any(fault in one for one in faults_of(damaged))


@pytest.mark.parametrize("gone", ["influenceConditions", "measuringEquipments", "usedMethods"])
def test_the_checks_miss_what_was_left_out(sample, gone):
    damaged = ET.fromstring(dcc_xml(sample))
    result = damaged.find(".//dcc:measurementResult", NAMES)
    result.remove(result.find(f"dcc:{gone}", NAMES))
    assert faults_of(damaged) != []


def test_an_instrument_without_its_certificate_is_missed(sample):
    damaged = ET.fromstring(dcc_xml(sample))
    instrument = damaged.find(".//dcc:measuringEquipment", NAMES)
    instrument.remove(instrument.find("dcc:certificate", NAMES))
    assert "no an instrument has no certificate" in faults_of(damaged)


def test_lists_of_unlike_length_are_never_written():
    with pytest.raises(ValueError, match="2 values, 1 uncertainties"):
        number_list(ET.Element("x"), ["1", "2"], "K", u_texts=["0.1"], k_texts=["2", "2"])


def test_a_point_that_is_not_decided_says_on_which_side_of_its_limit_it_lies():
    # ILAC-G8:09/2019, 4.2.3: within the limit a conditional pass, beyond it a conditional fail.
    assert conformity_word(Verdict.NOT_DECIDED, -0.9, 1.0) == "conditionalPass"
    assert conformity_word(Verdict.NOT_DECIDED, 1.1, 1.0) == "conditionalFail"
    assert conformity_word(Verdict.IN_TOLERANCE, 0.1, 1.0) == "pass"
    assert conformity_word(Verdict.OUT_OF_TOLERANCE, 2.1, 1.0) == "fail"


def test_the_days_of_the_measurement_are_read_from_its_words_or_said_to_be_unknown(make_certificate):
    two_days = make_certificate(measured="2031-05-16 22:10 to 2031-05-17 00:40 UTC")
    assert performed(two_days) == ("2031-05-16", "2031-05-17", True)
    unknown = make_certificate(measured="date not stated; readings typed by hand")
    assert performed(unknown) == ("2031-05-17", "2031-05-17", False)
    assert "The dates of the measurement are not known" in dcc_xml(unknown).decode()
    assert "The dates of the measurement are not known" not in dcc_xml(two_days).decode()


def test_an_amended_certificate_names_the_one_it_takes_the_place_of(make_certificate):
    amended = make_certificate(supersedes="PTW-0041", change="The customer's name.")
    core = ET.fromstring(dcc_xml(amended)).find(".//dcc:coreData", NAMES)
    assert core.findtext("dcc:reportAmendedSubstituted/dcc:typeOfChange", None, NAMES) == "amended"
    assert (
        core.findtext("dcc:reportAmendedSubstituted/dcc:replacedUniqueIdentifier", None, NAMES) == "PTW-0041"
    )


def test_what_was_found_stands_beside_what_was_left(sample):
    point = FoundPoint(
        temperature_c=90.0, error_k=-1.61, expanded_u_k=0.15, verdict=Verdict.OUT_OF_TOLERANCE, k=2.0
    )
    found = AsFound(
        number="PTW-0041",
        measured="2031-05-16",
        verdict=Verdict.OUT_OF_TOLERANCE,
        points=(point,),
        done="cleaned",
    )
    left = ET.fromstring(dcc_xml(dataclasses.replace(sample, as_found=found)))
    assert faults_of(left) == []
    result = left.findall(".//dcc:result", NAMES)[1]
    assert result.findtext("dcc:name/dcc:content", None, NAMES) == "As found"
    assert [one.text for one in result.iter(f"{{{NAMES['si']}}}valueXMLList")] == ["90.00", "-1.61"]
    # A first check of an older desk kept no coverage factor: words, then, and no number without one.
    older = dataclasses.replace(found, points=(dataclasses.replace(point, k=None),))
    words = ET.fromstring(dcc_xml(dataclasses.replace(sample, as_found=older))).findall(
        ".//dcc:result", NAMES
    )[1]
    assert words.find(".//dcc:quantity", NAMES) is None
    assert "-1.61 K ± 0.15 K" in words.findtext("dcc:data/dcc:text/dcc:content", None, NAMES)


def test_what_belongs_to_a_kind_alone_is_said_in_its_xml(of_kind):
    said = {kind: dcc_xml(of_kind(kind)).decode() for kind in (Kind.HANDHELD_INFRARED, Kind.STATION_ROUND)}
    for words in ("8 to 14 µm", "spot of 16 mm at 150 mm", "plate painted matt black", "set to 0.95"):
        assert words in said[Kind.HANDHELD_INFRARED]
    for words in ("carried in a flask", "By Algorithm A", "the reference bench before and after"):
        assert words in said[Kind.STATION_ROUND]


def test_a_record_says_that_it_is_no_certificate(of_kind):
    said = dcc_xml(of_kind(Kind.IN_PLACE)).decode()
    assert "It is no calibration certificate" in said
    assert "It is no calibration certificate" not in dcc_xml(of_kind(Kind.SENDER)).decode()


@pytest.mark.slow
def test_the_same_certificate_gives_the_same_xml_and_it_is_inside_the_paper(sample):
    attached = pypdf.PdfReader(io.BytesIO(render_pdf(sample))).attachments[XML_ATTACHMENT]
    assert attached == [dcc_xml(sample)] == [dcc_xml(sample)]
    assert attached_file(render_pdf(sample), XML_ATTACHMENT) == attached[0]
    with pytest.raises(CertificateError, match="no such file inside"):
        attached_file(render_pdf(sample), "other.xml")


@pytest.fixture(scope="module")
def other_reader():
    """The reader of another house (pydcc), without its checks of signature and schema.

    It imports a library for the signatures of such files that cannot be loaded beside today's OpenSSL, and as
    soon as it reads a file it fetches schemas from the network. Nothing here is signed in that way, and tests
    keep to this machine: stand-ins take the place of both, and neither check is asked for.
    """
    stand_in = types.ModuleType("certvalidator")
    for name in ("CertificateValidator", "ValidationContext", "errors"):
        setattr(stand_in, name, object)
    with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        patch.setitem(sys.modules, "certvalidator", stand_in)
        reader = importlib.import_module("dcc.dcc")
        patch.setattr(reader, "DCCXMLValidator", object)
        yield reader.DCC


@pytest.mark.slow
@pytest.mark.parametrize("kind", Kind)
def test_a_reader_of_another_house_reads_number_shop_day_and_results(
    of_kind, other_reader, kind, monkeypatch, tmp_path
):
    # The reader would look for schemas in the home of its user.
    monkeypatch.setenv("HOME", str(tmp_path))
    certificate = of_kind(kind)
    read = other_reader(byte_array=dcc_xml(certificate), signature_verification=False)
    assert read.is_loaded()
    assert read.uid() == certificate.number
    assert read.calibration_laboratory_name() == certificate.shop
    assert read.calibration_date().date().isoformat() == "2031-05-17"
    assert read.mandatory_language() == "en"
    assert not read.has_previous_report()
    results = read.get_calibration_results("name")
    assert results
    assert all("realListXMLList" in str(one) for _, one in results)


@pytest.mark.slow
def test_the_other_reader_sees_the_errors_of_the_table_with_their_uncertainties(sample, other_reader):
    read = other_reader(byte_array=dcc_xml(sample), signature_verification=False)
    ((_, error),) = [one for one in read.get_calibration_results("name") if one[0].endswith(" error")]
    numbers = {key.rpartition("}")[2]: value for key, value in _flat(error)}
    assert [float(text) for text in numbers["valueXMLList"].split()] == [
        pytest.approx(point.error_k, abs=0.005) for point in sample.points
    ]
    assert len(numbers["valueExpandedMUXMLList"].split()) == len(sample.points)


def _flat(value):
    for key, inside in value.items():
        if isinstance(inside, dict):
            yield from _flat(inside)
        else:
            yield key, inside
