import json
from pathlib import Path

import pytest

from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.dcc import dcc_xml
from host.certificates.first_difference import first_difference
from host.certificates.kind import Kind
from host.certificates.pdf import render_pdf

KEPT = sorted(
    [
        *(Path(__file__).parents[1] / "issued").rglob("*.json"),
        *(Path(__file__).parents[1] / "released").glob("*/cert*.json"),
    ]
)


def changed(data: bytes, change) -> bytes:
    read = json.loads(data)
    change(read)
    return json.dumps(read).encode()


@pytest.fixture(scope="module")
def data(sample):
    return canonical_json(sample)


@pytest.mark.parametrize("path", KEPT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_kept_certificate_made_anew_has_the_same_digits_and_numbers_to_1e_9(path):
    # Written under the libraries of its day; made anew under those of today.
    kept = path.read_bytes()
    assert first_difference(kept, canonical_json(certificate_from_canonical(kept))) is None


@pytest.mark.slow
@pytest.mark.parametrize("path", KEPT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_kept_certificate_can_still_be_set_on_paper(path):
    certificate = certificate_from_canonical(path.read_bytes())
    assert render_pdf(certificate).startswith(b"%PDF")
    assert certificate.number.encode() in dcc_xml(certificate)


def test_there_are_kept_certificates_of_both_versions_and_of_every_kind():
    versions = [json.loads(path.read_bytes())["version"] for path in KEPT]
    assert versions.count(1) >= 2
    assert {certificate_from_canonical(path.read_bytes()).kind for path in KEPT} == set(Kind)


def test_data_do_not_differ_from_themselves(data):
    assert first_difference(data, data) is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda read: read["body"]["points"][1]["error_k"].update(reported="+9.99"), "points[1].error_k"),
        (lambda read: read["body"]["points"][1]["k"].update(full="2.00001"), "points[1].k: 2.0 is now 2"),
        (lambda read: read["body"]["coefficients"][2]["value"].update(full="1.1e-7"), "coefficients[2]"),
        (lambda read: read["body"]["points"][0].update(verdict="out_of_tolerance"), "points[0].verdict"),
        (lambda read: read["body"]["points"].pop(), "points: 3 entries are now 2"),
        (lambda read: read.pop("item"), "item"),
        (lambda read: read.update(remarks=[]), "remarks: 2 entries are now 0"),
    ],
)  # fmt: skip
def test_the_first_difference_is_named_with_its_place(data, change, words):
    found = first_difference(data, changed(data, change))
    assert found is not None and words in found


def test_what_is_left_out_or_new_is_no_difference(data):
    assert first_difference(data, changed(data, lambda read: read.update(software=[], new="more"))) is None
    later = changed(data, lambda read: read.update(issued="2032-01-01"))
    assert first_difference(data, later) is not None
    assert first_difference(data, later, without={"issued"}) is None


def test_a_thousandth_of_a_microkelvin_is_no_difference_but_a_microkelvin_is(data, sample):
    def shifted(by_k):
        full = repr(sample.points[0].error_k + by_k)
        return changed(data, lambda read: read["body"]["points"][0]["error_k"].update(full=full))

    assert first_difference(data, shifted(5e-10)) is None
    assert first_difference(data, shifted(1e-6)) is not None
