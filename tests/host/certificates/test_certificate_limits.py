"""A limit stands on paper and in data as it was compared with, not as U would round it."""

import io
import json
import xml.etree.ElementTree as ET
from datetime import date

import pypdf
import pytest

from calibration.conformity import DecisionRule
from calibration.curves import load_curve
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.dcc import dcc_xml
from host.certificates.first_difference import first_difference
from host.certificates.pdf import render_pdf
from host.points_file import read_points
from host.typed_certificate import typed_certificate
from host.typed_check import Assumption, check_typed_points

NAMES = {"dcc": "https://ptb.de/dcc", "si": "https://ptb.de/si"}
TOLERANCES = ".//dcc:quantity[@refType='basic_tolerance']//si:valueXMLList"


@pytest.fixture
def certificate_of(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text("temperature_c,resistance_ohm\n80,310\n", encoding="utf-8")

    def make(limit_k: float, u_temperature_k: float = 0.6):
        check = check_typed_points(
            read_points(path),
            curve=load_curve("ntc-310-80c"),
            rule=DecisionRule.GUARDED,
            limit_k=limit_k,
            assumption=Assumption(u_temperature_k=u_temperature_k),
        )
        return typed_certificate(
            check, issued=date(2031, 5, 17), item="sender, tag 7", shop="Heron Street Motors"
        )

    return make


@pytest.mark.slow
@pytest.mark.parametrize(
    ("limit_k", "u_temperature_k", "text"), [(2.25, 0.6, "2.25"), (0.04, 0.6, "0.04"), (2.6, 8.0, "2.6")]
)
def test_a_stated_limit_stands_with_its_own_digits_on_paper_and_in_data(
    certificate_of, limit_k, u_temperature_k, text
):
    certificate = certificate_of(limit_k, u_temperature_k)
    (point,) = json.loads(canonical_json(certificate))["body"]["points"]
    assert point["limit_k"] == {"reported": text, "full": repr(limit_k)}
    assert [side["reported"] for side in point["limits_k"]] == [f"-{text}", f"+{text}"]
    root = ET.fromstring(dcc_xml(certificate))
    assert [lists.text for lists in root.findall(TOLERANCES, NAMES)] == [text]
    pages = pypdf.PdfReader(io.BytesIO(render_pdf(certificate))).pages
    words = " ".join(page.extract_text() for page in pages).split()
    assert text in words


@pytest.mark.parametrize(("limit_k", "said"), [(0.04, "0.04 K lies inside"), (0.75, "0.75 K lies inside")])
def test_the_sentence_names_a_stated_limit_with_its_own_digits(certificate_of, limit_k, said):
    assert said in certificate_of(limit_k).sentence


def test_a_limit_that_was_rounded_sooner_is_no_other_result_but_another_limit_is(certificate_of):
    now = canonical_json(certificate_of(2.25))
    stated = b'"limit_k":{"full":"2.25","reported":"2.25"}'
    assert stated in now
    sooner = now.replace(stated, b'"limit_k":{"full":"2.25","reported":"2.2"}')
    assert first_difference(sooner, now) is None
    assert certificate_from_canonical(sooner) == certificate_from_canonical(now)
    other = now.replace(stated, b'"limit_k":{"full":"2.25","reported":"2.3"}')
    assert first_difference(other, now) == "body.points[0].limit_k: 2.3 is now 2.25"
