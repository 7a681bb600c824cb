import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.certificates.canonical import canonical_json
from host.certificates.errors import CertificateError
from host.certificates.pdf import render_pdf
from host.certificates.printable import (
    PRINTABLE_RANGES,
    is_printable,
    printable,
    printable_text,
    refuse_unprintable,
    shown_text,
)

EVERY_LETTER = "".join(chr(code) for first, last in PRINTABLE_RANGES for code in range(first, last + 1))


def test_every_letter_called_printable_is_in_the_fonts_of_the_file(make_certificate):
    # The standard the file is written to forbids a missing letter, so the compiler refuses one.
    pieces = tuple(EVERY_LETTER[at : at + 400] for at in range(0, len(EVERY_LETTER), 400))
    assert render_pdf(make_certificate(remarks=pieces)).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("sender 漢", "'漢'.*U\\+6F22.*Latin"),
        ("hot \U0001f525", "U\\+1F525"),
        ("bell \x07", "control character"),
        ("half \ud83d", "control character"),
        ("w" * 161, "161 characters; there is room for 160"),
    ],
)
def test_a_text_that_cannot_be_printed_is_refused_naming_the_field(make_certificate, text, words):
    with pytest.raises(CertificateError, match=words) as refused:
        printable(make_certificate(item=text))
    assert refused.value.field == "item"


def test_a_field_deep_inside_is_named_with_its_place(make_certificate):
    certificate = make_certificate(conditions=(("Room", "22 °C"), ("Bath", "水")))
    with pytest.raises(CertificateError) as refused:
        printable(certificate)
    assert refused.value.field == "conditions[1][1]"


def test_marks_that_turn_the_writing_direction_are_taken_out_of_paper_and_data(make_certificate):
    certificate = make_certificate(item="sender \u202eknat\u202c \u2066PT\u2069-118\u200f")
    assert printable(certificate).item == "sender knat PT-118"
    data = canonical_json(certificate).decode()
    assert not any(mark in data for mark in "\u202e\u202c\u2066\u2069\u200f")


def test_a_line_break_in_a_remark_becomes_a_space():
    assert printable_text("first\r\n\tsecond ", "remarks[0]") == "first second"


def test_a_reason_that_an_older_version_took_is_shown_with_the_codes_of_what_nobody_can_print():
    assert shown_text("wrong\n item \x1b[31m \u202e 漢") == "wrong item [U+001B][31m [U+202E] [U+6F22]"
    assert shown_text("Ω and § stay") == "Ω and § stay"


def test_a_text_that_is_kept_as_it_came_may_hold_no_mark_that_nobody_sees():
    refuse_unprintable("K 1234", "certificate")
    with pytest.raises(CertificateError, match=r"certificate: a mark that nobody sees \(U\+202E\)"):
        refuse_unprintable("K \u202e1234", "certificate")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"expanded_u_k": 0.0}, "points[0].expanded_u_k"),
        ({"error_k": float("nan")}, "points[0].error_k"),
        ({"resistance_ohm": float("inf")}, "points[0].resistance_ohm"),
        ({"u_resistance_ohm": -1.0}, "points[0].u_resistance_ohm"),
    ],
)
def test_a_number_that_is_no_measurement_is_refused_naming_the_point(sample, changed, field):
    point = dataclasses.replace(sample.points[0], **changed)
    with pytest.raises(CertificateError) as refused:
        printable(dataclasses.replace(sample, body=dataclasses.replace(sample.body, points=(point,))))
    assert refused.value.field == field


def test_an_uncertainty_that_its_budget_does_not_give_is_refused(sample):
    point = dataclasses.replace(sample.points[0], expanded_u_k=2.0 * sample.points[0].expanded_u_k)
    with pytest.raises(CertificateError, match="not what its budget gives"):
        printable(dataclasses.replace(sample, body=dataclasses.replace(sample.body, points=(point,))))


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"number": ""}, "number"),
        ({"points": ()}, "points"),
        ({"issued": "soon"}, "issued"),
        # ISO/IEC 17025:2017, 7.8.2.1: b the laboratory, f the method, g the item
        ({"shop": " "}, "shop"),
        ({"method": ""}, "method"),
        ({"item": "\u200e"}, "item"),
        ({"received": "when pigs fly"}, "received"),
        ({"received": "20260501"}, "received"),
        ({"next_due": "2027-02-30"}, "next_due"),
    ],
)
def test_a_certificate_without_what_every_certificate_says_or_with_a_day_that_is_none_is_refused(
    make_certificate, changed, field
):
    with pytest.raises(CertificateError) as refused:
        printable(make_certificate(**changed))
    assert refused.value.field == field


def test_a_line_of_a_budget_that_adds_nothing_is_printed_as_nothing_and_stops_no_check(make_certificate):
    """A simulated bath stood so still that the drift of a plateau came out as 2.1e-15 K."""
    made = make_certificate()
    point = made.body.points[0]
    still = dataclasses.replace(point.budget.lines[0], standard_u=2.1e-15)
    budget = dataclasses.replace(point.budget, lines=(still, *point.budget.lines[1:]))
    body = dataclasses.replace(made.body, points=(dataclasses.replace(point, budget=budget),))
    assert printable(dataclasses.replace(made, body=body)).body.points[0].budget.lines[0].standard_u == 0.0
    negative = dataclasses.replace(budget, lines=(dataclasses.replace(still, standard_u=-1e-15),))
    body = dataclasses.replace(made.body, points=(dataclasses.replace(point, budget=negative),))
    with pytest.raises(CertificateError, match="must not be negative"):
        printable(dataclasses.replace(made, body=body))


@given(st.text(max_size=60))
def test_any_text_is_either_refused_or_holds_only_letters_of_the_fonts(text):
    try:
        plain = printable_text(text, "item")
    except CertificateError:
        return
    assert all(is_printable(letter) for letter in plain)


@given(st.text(alphabet=EVERY_LETTER, max_size=60))
def test_making_text_printable_twice_changes_nothing_more(text):
    plain = printable_text(text, "item")
    assert printable_text(plain, "item") == plain


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(
    # A certificate without item or shop is refused.
    text=st.text(alphabet=EVERY_LETTER, min_size=1, max_size=80)
    | st.text(alphabet='#$\\"{}[]()*_`@<>/=~', min_size=1, max_size=80)
)
def test_no_printable_text_breaks_the_sheet(make_certificate, text):
    certificate = make_certificate(
        item=text, sentence=text, shop=text, remarks=(text,), conditions=((text, text),)
    )
    assert render_pdf(certificate).startswith(b"%PDF")
