import dataclasses
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.uncertainty.budget import Distribution
from host.certificates.canonical import canonical_json, certificate_from_canonical
from host.certificates.certificate import Certificate, Coefficient
from host.certificates.errors import CertificateError
from host.certificates.kind import Kind
from host.certificates.printed import printed_points

ISSUED = sorted((Path(__file__).parents[1] / "issued").glob("*.json"))
words = st.text(alphabet="abcXYZ 0189.,-%°Ωäßñж\"\\'<&{}[]#$", max_size=30).map(
    lambda text: " ".join(text.split())
)
numbers = st.floats(min_value=-300.0, max_value=1e5)
uncertainties = st.floats(min_value=1e-6, max_value=1e3)


@st.composite
def certificates(draw, make_certificate):
    sample = make_certificate()
    line = dataclasses.replace(
        sample.points[0].budget.lines[0],
        quantity=draw(words),
        estimate=draw(numbers),
        standard_u=draw(uncertainties),
        sensitivity=draw(numbers),
        degrees_of_freedom=draw(st.floats(min_value=1.0)),
        distribution=draw(st.sampled_from(Distribution)),
    )
    standard_u = draw(uncertainties)
    budget = dataclasses.replace(
        sample.points[0].budget, lines=(line,), estimate=draw(numbers), standard_u=standard_u
    )
    point = dataclasses.replace(
        sample.points[0],
        temperature_c=draw(numbers),
        error_k=draw(numbers),
        expanded_u_k=budget.expanded_u,
        budget=budget,
        limits_k=draw(st.none() | st.tuples(numbers, numbers)),
    )
    return dataclasses.replace(
        sample,
        body=dataclasses.replace(
            sample.body,
            points=(point, *sample.points[1:]),
            coefficients=(
                Coefficient(
                    name=draw(words), value=draw(numbers), standard_u=draw(st.none() | uncertainties)
                ),
            ),
        ),
        item=draw(words.filter(bool)),
        remarks=tuple(draw(st.lists(words, max_size=3))),
        simulated=draw(st.booleans()),
        authorised_by=draw(words),
        opinions=tuple(draw(st.lists(words, max_size=2))),
    )


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_certificate_comes_back_from_its_own_data_to_the_last_digit(make_certificate, data):
    certificate = data.draw(certificates(make_certificate))
    assert certificate_from_canonical(canonical_json(certificate)) == certificate


@pytest.mark.parametrize("kind", Kind)
def test_a_certificate_of_every_kind_comes_back_from_its_own_data(of_kind, kind):
    certificate = of_kind(kind)
    data = canonical_json(certificate)
    assert json.loads(data)["kind"] == kind.value
    assert certificate_from_canonical(data) == certificate


def test_data_are_sorted_compact_and_in_utf8(sample):
    data = canonical_json(sample)
    again = json.dumps(json.loads(data), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    assert data == again.encode("utf-8")
    assert "Ω".encode() in data


def test_data_say_when_no_real_sender_was_measured(make_certificate):
    assert json.loads(canonical_json(make_certificate(simulated=True)))["simulated"] is True
    assert json.loads(canonical_json(make_certificate(simulated=False)))["simulated"] is False


def test_every_number_is_two_strings_as_reported_and_in_full(sample):
    row = json.loads(canonical_json(sample))["body"]["points"][2]
    printed = printed_points(sample)[2]
    for name in ("temperature_c", "resistance_ohm", "indicated_c", "error_k", "expanded_u_k", "k", "limit_k"):
        assert row[name]["reported"] == getattr(printed, name)
        assert float(row[name]["full"]) == getattr(sample.points[2], name)


def _leaves(value):
    if isinstance(value, dict):
        for entry in value.values():
            yield from _leaves(entry)
    elif isinstance(value, list):
        for entry in value:
            yield from _leaves(entry)
    else:
        yield value


def test_the_only_bare_number_in_the_data_is_the_version_of_the_format(sample):
    read = json.loads(canonical_json(sample))
    bare = [leaf for leaf in _leaves(read) if isinstance(leaf, int | float) and not isinstance(leaf, bool)]
    assert bare == [read["version"]]


@pytest.mark.parametrize("path", ISSUED, ids=lambda path: path.stem)
def test_data_of_an_earlier_certificate_are_read_by_this_program(path):
    data = path.read_bytes()
    certificate = certificate_from_canonical(data)
    assert certificate.number == "PTW-0042"
    # The three rows as they stand in the file's own reported strings.
    assert [row["error_k"]["reported"] for row in json.loads(data)["points"]] == [
        printed.error_k for printed in printed_points(certificate)
    ]
    assert certificate.simulated is True
    assert certificate.points[2].verdict.words == "out of tolerance"


def test_there_is_an_earlier_certificate_to_read():
    assert ISSUED


def test_a_later_format_is_refused_with_the_next_step(sample):
    read = json.loads(canonical_json(sample)) | {"version": 99}
    with pytest.raises(CertificateError, match="update this program"):
        certificate_from_canonical(json.dumps(read).encode())


@given(
    st.binary(max_size=200) | st.sampled_from([b"0", b"[]", b'{"format":"ohmbath certificate"}', b"[" * 2000])
)
def test_bytes_that_are_no_certificate_are_refused_in_words(garbage):
    with pytest.raises(CertificateError):
        certificate_from_canonical(garbage)


@settings(deadline=None)
@given(data=st.data())
def test_a_certificate_with_a_part_missing_is_refused_in_words(sample, data):
    read = json.loads(canonical_json(sample))
    # A part with a default came with a later version and may be missing.
    optional = {
        field.name for field in dataclasses.fields(Certificate) if field.default is not dataclasses.MISSING
    }
    within = read if data.draw(st.booleans()) else read["body"]
    del within[data.draw(st.sampled_from(sorted(set(within) - optional)))]
    with pytest.raises(CertificateError):
        certificate_from_canonical(json.dumps(read).encode())
