"""A resistance channel as found: its error with its U, and where it was beyond its limit."""

import dataclasses
import json
import xml.etree.ElementTree as ET

from calibration.conformity import DecisionRule, Verdict, decide
from host.certificates.canonical import canonical_json
from host.certificates.dcc import dcc_xml
from host.certificates.kind import Kind
from host.certificates.results.by_kind import results_of

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}


def channel(of_kind, gain: float):
    """The channel as if every reading as found had been so many times the true value."""
    certificate = of_kind(Kind.OHMS_CHANNEL)
    points = tuple(
        dataclasses.replace(point, found_ohm=gain * point.true_ohm) for point in certificate.body.points
    )
    return dataclasses.replace(certificate, body=dataclasses.replace(certificate.body, points=points))


def test_the_error_as_found_has_a_u_of_its_own_in_data_and_on_paper(of_kind):
    certificate = of_kind(Kind.OHMS_CHANNEL)
    (table,) = results_of(certificate).tables
    (found,) = (column for column in table.columns if column.key == "found_error")
    assert found.prints_u
    data = json.loads(canonical_json(certificate))["body"]["points"]
    assert [point["found_expanded_u_ohm"]["reported"] for point in data] == list(found.u_texts)
    root = ET.fromstring(dcc_xml(certificate))
    (listed,) = root.findall(".//dcc:quantity[@refType='basic_measuredValue ohmbath_found_error']", NAMES)
    assert listed.find(".//si:valueExpandedMUXMLList", NAMES).text.split() == list(found.u_texts)


def test_the_paper_names_where_it_was_beyond_its_limit_as_found(of_kind):
    # Half a per cent off against a limit of a tenth: beyond it everywhere, with U where U is small enough.
    certificate = channel(of_kind, 1.005)
    (table,) = results_of(certificate).tables
    verdicts = [
        decide(
            error_k=point.found_ohm - point.true_ohm,
            expanded_u_k=point.expanded_u_ohm,
            limit_k=point.limit_ohm,
            rule=DecisionRule.GUARDED,
        )
        for point in certificate.body.points
    ]
    assert Verdict.OUT_OF_TOLERANCE in verdicts
    first = verdicts.index(Verdict.OUT_OF_TOLERANCE)
    point = certificate.body.points[first]
    assert f"As found, out of tolerance: {point.range_words} at {point.setting_ohm:g} Ω (+" in table.note
    out = verdicts.count(Verdict.OUT_OF_TOLERANCE)
    assert f"and at {out - 4} more, see the table" in table.note
    assert table.note in dcc_xml(certificate).decode("utf-8")


def test_a_channel_that_was_in_tolerance_as_found_is_said_to_have_been(of_kind):
    wide = of_kind(Kind.OHMS_CHANNEL).body
    points = tuple(dataclasses.replace(point, limit_ohm=0.01 * point.true_ohm) for point in wide.points)
    certificate = of_kind(Kind.OHMS_CHANNEL, body=dataclasses.replace(wide, points=points))
    (table,) = results_of(certificate).tables
    assert table.note.endswith("As found it was in tolerance too.")
    assert "out of tolerance" not in table.note
