"""Curves of the shop's own: typed from a manual, kept by content, found by name."""

import pytest

from calibration.curves import CurveError, curve_from_toml, curve_names, curve_text, load_curve
from host.curve_choice import all_curves, curve_by_name, text_of_curve
from host.typed_curve import curve_text_of_table, name_of_title

TITLE, SOURCE = "Grey van, coolant sender", "Invented manual, page 12"
LIMITS = "-10, 8160, 10740\n20, 2270, 2730\n40, 1059, 1281\n60 538 650\n80\t298\t322\n"


def typed(table: str, **changes) -> str:
    return curve_text_of_table(**{"title": TITLE, "source": SOURCE, "table": table, **changes})


def refusal(table: str, **changes) -> str:
    with pytest.raises(CurveError) as caught:
        curve_from_toml(typed(table, **changes), name="mine")
    return str(caught.value)


def test_a_typed_table_with_limits_is_judged_by_the_limits_as_printed():
    curve = curve_from_toml(typed(LIMITS), name="mine")
    assert curve.limits_ohm(80.0) == (298.0, 322.0)
    assert curve.tolerance == "resistance limits as printed"
    assert curve.source == SOURCE
    assert len(curve.rows) == 5


def test_two_numbers_a_line_are_temperature_and_ohms_with_a_percentage_beside_them():
    curve = curve_from_toml(typed("20 2500\n60 600\n80 320\n100 185", tolerance_percent=5.0), name="mine")
    assert curve.limits_ohm(20.0) == pytest.approx((2375.0, 2625.0))
    assert not curve_from_toml(typed("20 2500\n60 600\n80 320\n100 185"), name="mine").has_tolerance


def test_a_table_in_fahrenheit_and_kilohms_is_the_same_curve():
    in_f = typed("temperature_f,resistance_kohm\n68,2.5\n140,0.6\n176,0.32\n212,0.185")
    in_c = typed("20 2500\n60 600\n80 320\n100 185")
    one, other = (curve_from_toml(text, name="mine") for text in (in_f, in_c))
    assert one.indicated_c(450.0, at_c=70.0) == pytest.approx(other.indicated_c(450.0, at_c=70.0))
    assert curve_from_toml(
        typed("68 2500\n140 600\n176 320\n212 185", temperatures_in_f=True), name="m"
    ).rows[0].temperature_c == pytest.approx(20.0)


def test_decimal_commas_are_read_where_nothing_else_can_be_meant():
    curve = curve_from_toml(typed("20,5; 2500,5\n60; 600\n80; 320\n100; 185"), name="mine")
    assert (curve.rows[0].temperature_c, curve.rows[0].resistance_ohm) == (20.5, 2500.5)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("", "The table is empty"),
        ("20 2500\n60 six", "line 2: 'six' is no number"),
        ("20 2500\n60", "line 2: 1 numbers"),
        ("20,5,2500\n30,5,1800", "line 1: limits of 5 and 2500"),
        ("20 2730 2270\n60 538 650", "min_ohm must be below max_ohm"),
        ("20 2500\n60 2600", "row 2 (60 °C): 2600 Ω is not below the 2500 Ω"),
        ("temperature,ohms\n20,2500", "Known columns"),
        ("resistance_ohm,min_ohm\n20,2500", "no temperature_c or temperature_f"),
        ("temperature_c,resistance_ohm\n20,2500,3", "line 2: 3 numbers where there are 2 columns"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(table, words):
    assert words in refusal(table)


def test_limits_and_a_percentage_together_are_refused():
    assert "limits of its own" in refusal(LIMITS, tolerance_percent=5.0)


def test_a_curve_without_its_source_is_refused():
    assert "source" in refusal(LIMITS, source=" ")


@pytest.mark.parametrize("title", ['7" hose "A\\B"', "Übersicht\nSeite 3", "\x7f{ } = [ ]"])
def test_whatever_a_title_holds_stays_text(title):
    assert curve_from_toml(typed(LIMITS, title=title), name="mine").title == " ".join(
        title.replace("\x7f", "").split()
    )


def test_the_newest_of_a_name_counts_and_the_older_one_is_kept_by_its_content(store):
    first = store.curves.add("grey-van", typed(LIMITS), added_by="Ida")
    again = store.curves.add("grey-van", typed(LIMITS))
    assert again == first
    second = store.curves.add("grey-van", typed(LIMITS.replace("2730", "2720")))
    assert store.curves.get("grey-van") == second
    assert store.curves.by_hash(first.sha256) == first
    assert first.curve.content_hash == first.sha256
    assert [kept.sha256 for kept in store.curves.all()] == [second.sha256]


def test_a_curve_is_found_by_its_name_in_library_and_store(store):
    store.curves.add("grey-van", typed(LIMITS))
    assert curve_by_name("grey-van", store.curves).title == TITLE
    assert curve_by_name("ntc-310-80c", store.curves) == load_curve("ntc-310-80c")
    assert text_of_curve("ntc-310-80c", store.curves) == curve_text("ntc-310-80c")
    assert [curve.name for curve in all_curves(store.curves)] == [*curve_names(), "grey-van"]
    with pytest.raises(CurveError, match="No curve is named 'nowhere'"):
        curve_by_name("nowhere", store.curves)


@pytest.mark.parametrize("name", ["", "Grey Van", "-x", "x" * 41, "../etc", "ntc-310-80c"])
def test_a_name_that_would_mislead_is_refused(store, name):
    with pytest.raises(CurveError):
        store.curves.add(name, typed(LIMITS))
    assert store.curves.all() == []


def test_a_text_that_is_no_curve_is_not_kept(store):
    with pytest.raises(CurveError, match="not a TOML file"):
        store.curves.add("grey-van", "rows = [")
    assert store.curves.all() == []


def test_a_title_gives_a_name_that_can_be_used(store):
    name = name_of_title("Grey van: coolant sender, 2004 manual, sheet 7 of 9, left bank")
    assert store.curves.add(name, typed(LIMITS)).name == name
    assert name_of_title("传感器") == ""
