"""What a curve's file must hold; every refusal names the row."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.curves import CurveError, curve_from_toml

HEAD = {
    "title": '"Invented sender"',
    "source": '"invented for this test"',
    "tolerance": '"unknown"',
    "wiring": '"unknown"',
    "allowed_current_ma": '"unknown"',
}
ROWS = [
    "{ temperature_c = 20, resistance_ohm = 2500 }",
    "{ temperature_c = 60, resistance_ohm = 600 }",
    "{ temperature_c = 80, resistance_ohm = 320 }",
    "{ temperature_c = 100, resistance_ohm = 185 }",
]


def toml(rows=ROWS, tail="", **changes):
    head = {key: value for key, value in {**HEAD, **changes}.items() if value is not None}
    lines = [f"{key} = {value}" for key, value in head.items()]
    if rows is not None:
        lines += ["rows = [", *(f"  {row}," for row in rows), "]"]
    return "\n".join(lines) + "\n" + tail


def refusal(text):
    with pytest.raises(CurveError) as caught:
        curve_from_toml(text, name="mine")
    return str(caught.value)


def test_a_curve_of_ones_own_is_read():
    curve = curve_from_toml(toml(), name="mine")
    assert curve.name == "mine"
    assert curve.resistance_ohm(80.0) == 320.0
    assert curve.printed_temperatures_c == (20.0, 60.0, 80.0, 100.0)
    assert curve.allowed_current_ma is None
    assert not curve.has_tolerance


def test_a_curve_without_source_is_refused():
    assert "no source" in refusal(toml(source=None))
    assert "no source" in refusal(toml(source='""'))
    assert "source is unknown" in refusal(toml(source='"unknown"'))


def test_a_printed_row_whose_scales_disagree_is_refused_by_its_number():
    rows = [*ROWS[:2], "{ temperature_c = 80, temperature_f = 167, resistance_ohm = 320 }", ROWS[3]]
    words = refusal(toml(rows))
    assert "row 3" in words
    assert "80 °C and 167 °F disagree" in words


def test_scales_that_agree_to_the_rounding_of_either_are_taken():
    # 91 °C is 195.8 °F; -7 °C is printed for 20 °F
    rows = [
        "{ temperature_c = -7, temperature_f = 20, resistance_ohm = 8000 }",
        "{ temperature_c = 91, temperature_f = 196, resistance_ohm = 235 }",
    ]
    assert curve_from_toml(toml(rows), name="mine").printed_temperatures_c == (-7.0, 91.0)


@given(temperature_c=st.integers(-40, 130), off_f=st.integers(2, 60))
def test_any_clear_disagreement_of_the_scales_is_found(temperature_c, off_f):
    temperature_f = round(temperature_c * 1.8 + 32) + off_f
    rows = [
        f"{{ temperature_c = {temperature_c}, temperature_f = {temperature_f}, resistance_ohm = 5 }}",
        "{ temperature_c = 200, resistance_ohm = 1 }",
    ]
    assert "row 1" in refusal(toml(rows))


def test_fahrenheit_alone_is_taken():
    rows = [
        "{ temperature_f = 68, resistance_ohm = 2500 }",
        "{ temperature_f = 176, resistance_ohm = 320 }",
    ]
    assert curve_from_toml(toml(rows), name="mine").printed_temperatures_c == (20.0, 80.0)


def test_a_table_that_does_not_fall_is_refused_by_its_row():
    rows = [ROWS[0], "{ temperature_c = 60, resistance_ohm = 300 }", *ROWS[2:]]
    words = refusal(toml(rows))
    assert "row 3 (80 °C)" in words
    assert "320 Ω is not below the 300 Ω" in words


def test_rows_may_stand_in_any_order_but_are_named_as_they_stand():
    assert curve_from_toml(toml(ROWS[::-1]), name="mine").printed_temperatures_c == (20.0, 60.0, 80.0, 100.0)
    rows = [ROWS[3], ROWS[2], "{ temperature_c = 60, resistance_ohm = 300 }", ROWS[0]]
    assert "row 2 (80 °C)" in refusal(toml(rows))


def test_limits_that_do_not_fall_are_refused_too():
    rows = [
        "{ temperature_c = 20, min_ohm = 2000, max_ohm = 3000 }",
        "{ temperature_c = 60, min_ohm = 100, max_ohm = 700 }",
        "{ temperature_c = 80, min_ohm = 110, max_ohm = 400 }",
    ]
    assert "row 3 (80 °C)" in refusal(toml(rows, tolerance='"as printed"'))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("{ temperature_c = 60 }", "row 2 (60 °C): no resistance_ohm"),
        ("{ resistance_ohm = 600 }", "row 2: temperature_c is missing"),
        ("{ temperature_c = 60, resistance_ohm = -6 }", "resistance_ohm = -6 must be above zero"),
        ("{ temperature_c = 60, resistance_ohm = nan }", "is no number"),
        ("{ temperature_c = 60, resistance_ohm = true }", "is no number"),
        ('{ temperature_c = "60", resistance_ohm = 600 }', "is no number"),
        ("{ temperature_c = -300, resistance_ohm = 600 }", "below absolute zero"),
        ("{ temperature_c = 20, resistance_ohm = 600 }", "stands there twice"),
        ("{ temperature_c = 60, ohms = 600 }", "'ohms' is not known here"),
        ("{ temperature_c = 60, min_ohm = 500 }", "max_ohm is missing"),
        ("{ temperature_c = 60, min_ohm = 700, max_ohm = 500 }", "min_ohm must be below max_ohm"),
        (
            "{ temperature_c = 60, min_ohm = 500, resistance_ohm = 800, max_ohm = 700 }",
            "800 Ω does not lie between the limits",
        ),
        ("{ temperature_c = 60, resistance_ohm = 600, tolerance_percent = 5 }", "row 1 has no limits"),
    ],
)
def test_a_row_that_cannot_stand_is_named(row, words):
    found = refusal(toml([ROWS[0], row, *ROWS[2:]]))
    assert words in found
    assert found.startswith("Curve mine: ")


def test_words_and_limits_must_tell_the_same():
    assert "no limits are given" in refusal(toml(tolerance='"5 %"'))
    assert "tolerance is unknown" in refusal(toml(tolerance_percent="5"))


def test_a_percentage_makes_limits_in_ohms():
    curve = curve_from_toml(toml(tolerance='"5 %"', tolerance_percent="5"), name="mine")
    assert curve.limits_ohm(80.0) == pytest.approx((304.0, 336.0))


@pytest.mark.parametrize("rows", [[], ROWS[:1]])
def test_one_row_is_no_curve(rows):
    assert "at least two rows" in refusal(toml(rows))


def test_what_is_no_toml_is_said():
    assert "not a TOML file" in refusal("title = ")


def test_unknown_keys_are_said():
    assert "'tollerance' is not known" in refusal(toml(tollerance='"5 %"'))


def test_the_current_is_a_number_or_unknown():
    assert curve_from_toml(toml(allowed_current_ma="1.0"), name="mine").allowed_current_ma == 1.0
    assert "allowed_current_ma" in refusal(toml(allowed_current_ma=None))
    assert "allowed_current_ma" in refusal(toml(allowed_current_ma="0"))


COEFFICIENTS = """
[coefficients]
form = "steinhart_hart"
a = 1.032e-3
b = 2.387e-4
c = {c}
valid_from_c = -30
valid_to_c = 60
"""


def test_coefficients_make_a_curve_within_their_range():
    curve = curve_from_toml(toml(None, COEFFICIENTS.format(c="1.580e-7")), name="mine")
    assert curve.resistance_ohm(25.0) == pytest.approx(10_000.0, rel=2e-3)
    assert curve.printed_temperatures_c == ()
    with pytest.raises(CurveError, match="-30 to 60 °C"):
        curve.resistance_ohm(61.0)


def test_coefficients_that_turn_are_refused():
    assert "a sign or an exponent" in refusal(toml(None, COEFFICIENTS.format(c="-1.2e-6")))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"steinhart_hart"', '"polynomial"', "need a form"),
        ("c = 1.580e-7", "", "c is missing"),
        ("valid_to_c = 60", "valid_to_c = -40", "valid_from_c must be below"),
        ("valid_to_c = 60", "", "valid_to_c is missing"),
    ],
)
def test_coefficients_that_cannot_stand_are_said(old, new, words):
    assert words in refusal(toml(None, COEFFICIENTS.format(c="1.580e-7").replace(old, new)))


def test_rows_and_coefficients_together_are_refused():
    assert "either rows or coefficients" in refusal(toml(ROWS, COEFFICIENTS.format(c="1.580e-7")))
    assert "either rows or coefficients" in refusal(toml(None))


def test_the_hash_knows_no_line_ends():
    windows = toml().replace("\n", "\r\n")
    ours, theirs = curve_from_toml(toml(), name="mine"), curve_from_toml(windows, name="mine")
    assert theirs.content_hash == ours.content_hash
    assert curve_from_toml(toml() + "# note\n", name="mine").content_hash != ours.content_hash


@given(st.text())
def test_any_text_is_a_curve_or_a_refusal(text):
    with pytest.raises(CurveError):
        curve_from_toml(text, name="mine")
