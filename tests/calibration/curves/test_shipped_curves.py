import hashlib
import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from calibration.curves import CurveError, curve_names, load_curve

PUBLISHED = Path(__file__).parents[1] / "published"
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
NTC_2K5 = tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))


def test_there_are_ten_curves_and_more():
    assert len(curve_names()) >= 10


@pytest.mark.parametrize("name", curve_names())
def test_every_curve_says_where_it_was_printed(name):
    curve = load_curve(name)
    assert curve.source.startswith("as printed in ")
    assert curve.wiring == "unknown"  # printed in none of the documents read
    assert curve.tolerance == "unknown" or curve.has_tolerance


@pytest.mark.parametrize("name", curve_names())
def test_every_curve_is_named_by_a_resistance_it_has_there(name):
    match = re.fullmatch(r"ntc-(\d+)(?:([kr])(\d*))?-(\d+)c(?:-b\d+)?", name)
    assert match is not None
    whole, letter, part, temperature = match.groups()
    ohms = float(f"{whole}.{part or 0}") * (1000.0 if letter == "k" else 1.0)
    assert load_curve(name).nominal_ohm(float(temperature)) == pytest.approx(ohms, rel=2e-6)


@pytest.mark.parametrize("name", SENDERS)
def test_every_sender_stands_as_printed(name):
    curve, printed = load_curve(name), SENDERS[name]
    assert printed["source"] in curve.source
    assert len(curve.rows) == len(printed["rows"])
    for row, (temperature_c, least, nominal, largest) in zip(
        curve.rows, sorted(printed["rows"]), strict=True
    ):
        assert row.temperature_c == temperature_c
        assert row.resistance_ohm == pytest.approx(nominal or (least + largest) / 2, rel=1e-12)
        assert (row.min_ohm or 0) == pytest.approx(least, rel=1e-12)
        assert (row.max_ohm or 0) == pytest.approx(largest, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "rows"),
    [("ntc-2k5-20c", NTC_2K5["rows"]), ("ntc-10k-25c", NTC_10K["tables"]["44006 and 44031"])],
)
def test_every_plain_table_stands_as_printed(name, rows):
    curve = load_curve(name)
    assert [[row.temperature_c, row.resistance_ohm] for row in curve.rows] == rows
    assert not curve.has_tolerance


def test_the_coefficients_of_the_3977_part_stand_as_printed():
    curve = load_curve("ntc-10k-25c-b3977")
    printed = NTC_10K["b3977"]
    assert [value for _, value in curve.coefficients] == [*printed["inverse_form"], printed["r25_ohm"]]
    assert curve.resistance_ohm(25.0) == pytest.approx(10_000.0, rel=2e-6)


@pytest.mark.parametrize("name", ["ntc-318-80c", "ntc-2k45-20c", "ntc-3k55-20c", "ntc-80r9-128c"])
def test_curves_of_two_or_three_rows_judge_only_there(name):
    assert load_curve(name).judges_only_printed_rows


def test_the_hash_is_that_of_the_file():
    text = (resources.files("calibration.curves") / "ntc-310-80c.toml").read_text("utf-8")
    assert load_curve("ntc-310-80c").content_hash == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("name", ["ntc-nothing", "", "../errors", "ntc-310-80c.toml"])
def test_an_unknown_name_is_refused_with_where_to_look(name):
    with pytest.raises(CurveError, match="ohmbath curves"):
        load_curve(name)
