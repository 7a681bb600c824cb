"""Paper, JSON and XML of a certificate say the same numbers, for every kind."""

import io
import json
import re
import xml.etree.ElementTree as ET

import pypdf
import pytest

from host.certificates.canonical import canonical_json
from host.certificates.dcc import dcc_xml
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf

pytestmark = pytest.mark.slow

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}
ERROR_K = {"error": ("error_k", "expanded_u_k"), "limit": ("limit_k", None)}
ERROR_OHM = {"error": ("error_ohm", "expanded_u_ohm"), "limit": ("limit_ohm", None)}
INFRARED = {
    "face": ("face_c", "expanded_u_k"),
    "expected": ("expected_c", "expanded_u_k"),
    "shown": ("shown_c", "expanded_u_k"),
}
#: Quantity of the XML by its name: field of the JSON with its value, and with its uncertainty.
FIELDS = {
    Kind.SENDER: {
        "temperature": ("temperature_c", "expanded_u_k"),
        "resistance": ("resistance_ohm", "expanded_u_resistance_ohm"),
        "indicated": ("indicated_c", "expanded_u_k"),
        **ERROR_K,
    },
    Kind.HANDHELD_INFRARED: {**INFRARED, **ERROR_K},
    Kind.RIG_INFRARED: {**INFRARED, "error": ERROR_K["error"]},
    Kind.REFERENCE_PROBE: {
        "reference": ("reference_c", "expanded_u_k"),
        "resistance": ("resistance_ohm", "expanded_u_resistance_ohm"),
        "shown": ("shown_c", "expanded_u_k"),
        **ERROR_K,
    },
    Kind.OHMS_CHANNEL: {
        "setting": ("setting_ohm", None),
        "true": ("true_ohm", "expanded_u_ohm"),
        "found_error": ("found_error_ohm", "expanded_u_ohm"),
        "shown": ("shown_ohm", "expanded_u_ohm"),
        **ERROR_OHM,
    },
    Kind.DECADE_BOX: {"setting": ("setting_ohm", None), "true": ("true_ohm", "expanded_u_ohm"), **ERROR_OHM},
    Kind.RESISTANCE_METER: {
        "setting": ("setting_ohm", None),
        "true": ("true_ohm", "expanded_u_ohm"),
        "shown": ("shown_ohm", "expanded_u_ohm"),
        **ERROR_OHM,
    },
    Kind.STATION_ROUND: {
        "value": ("value", "expanded_u"),
        "difference": ("difference", "difference_expanded_u"),
        "en": ("en", None),
    },
    Kind.IN_PLACE: {"reading": ("temperature_c", "expanded_u_k")},
}  # fmt: skip
#: Fields of one row of the paper, from left to right; a Fahrenheit value may stand between.
PAPER_ROWS = {
    Kind.SENDER: (
        "temperature_c resistance_ohm expanded_u_resistance_ohm indicated_c error_k expanded_u_k k limit_k"
    ),
    Kind.HANDHELD_INFRARED: "face_c expected_c shown_c error_k expanded_u_k k limit_k",
    Kind.RIG_INFRARED: "face_c expected_c shown_c error_k expanded_u_k k",
    Kind.REFERENCE_PROBE: (
        "reference_c resistance_ohm expanded_u_resistance_ohm shown_c error_k expanded_u_k k limit_k"
    ),
    Kind.OHMS_CHANNEL: "setting_ohm true_ohm found_error_ohm shown_ohm error_ohm expanded_u_ohm k limit_ohm",
    Kind.DECADE_BOX: "setting_ohm true_ohm error_ohm expanded_u_ohm k limit_ohm",
    Kind.RESISTANCE_METER: (
        "setting_ohm true_ohm shown_ohm error_ohm expanded_u_ohm equivalent_error_k "
        "equivalent_expanded_u_k k limit_ohm"
    ),
    Kind.STATION_ROUND: "value expanded_u difference difference_expanded_u en k",
    Kind.IN_PLACE: "temperature_c expanded_u_k",
}  # fmt: skip


@pytest.fixture(scope="module", params=list(Kind), ids=lambda kind: kind.value)
def forms(request, of_kind):
    """Kind, rows of the JSON, XML and text of the paper of one certificate."""
    certificate = of_kind(request.param)
    points = json.loads(canonical_json(certificate))["body"]["points"]
    rows = [row for point in points for row in point.get("stations", [point])]
    pages = pypdf.PdfReader(io.BytesIO(render_pdf(certificate))).pages
    text = " ".join(" ".join(page.extract_text().replace("−", "-").split()) for page in pages)
    return request.param, rows, ET.fromstring(dcc_xml(certificate)), text.replace("\u200b", "")


def _lists(root, key):
    for quantity in root.iter(f"{{{NAMES['dcc']}}}quantity"):
        kinds = quantity.get("refType", "").split()
        if f"ohmbath_{key}" in kinds or (key == "limit" and "basic_tolerance" in kinds):
            return quantity.find("si:realListXMLList", NAMES)
    raise AssertionError(f"no quantity {key}")


def test_every_value_and_uncertainty_of_the_xml_is_the_one_reported_in_the_json(forms):
    kind, rows, root, _ = forms
    for key, (field, u_field) in FIELDS[kind].items():
        numbers = _lists(root, key)
        assert numbers.findtext("si:valueXMLList", "", NAMES).split() == [
            row[field]["reported"] for row in rows
        ]
        stated = numbers.findtext(".//si:valueExpandedMUXMLList", "", NAMES).split()
        assert stated == ([row[u_field]["reported"] for row in rows] if u_field else [])
        if u_field and "k" in rows[0] and key != "difference":
            factors = numbers.findtext(".//si:coverageFactorXMLList", "", NAMES).split()
            assert factors == [row["k"]["reported"] for row in rows]


def test_every_row_of_the_paper_has_the_characters_of_the_json(forms):
    kind, rows, _, text = forms
    for row in rows:
        cells = [re.escape(row[field]["reported"]) for field in PAPER_ROWS[kind].split()]
        assert re.search(r" (?:-?[\d.]+ )?".join(cells), text), cells


def test_every_verdict_is_the_same_in_all_three(forms):
    kind, rows, root, text = forms
    agreed = [row["agreement"].replace("_", " ") for row in rows if row.get("agreement")]
    for row, words in zip(rows, agreed, strict=False):
        assert f"{row['station']}: {words}" in "\n".join(root.itertext())
    assert all(text.count(words) >= agreed.count(words) for words in agreed)
    judged = [row["verdict"] for row in rows if row.get("verdict")]
    if not judged:
        return
    words = {
        "in_tolerance": {"pass"},
        "out_of_tolerance": {"fail"},
        "not_decided": {"conditionalPass", "conditionalFail"},
    }
    stated = root.findtext(".//dcc:conformityXMLList", "", NAMES).split()
    assert len(stated) == len(judged)
    assert all(one in words[verdict] for one, verdict in zip(stated, judged, strict=True))
    for verdict in set(judged):
        assert text.count(verdict.replace("_", " ")) >= judged.count(verdict)


def test_the_json_is_full_where_the_paper_is_rounded(forms):
    _, rows, _, _ = forms
    for row in rows:
        for number in row.values():
            if (
                isinstance(number, dict)
                and set(number) == {"reported", "full"}
                and number["reported"][-1].isdigit()
            ):
                places = len(number["reported"].partition(".")[2])
                assert abs(float(number["reported"]) - float(number["full"])) <= 0.5000001 * 10.0**-places
