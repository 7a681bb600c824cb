"""A few rows of a maker's table, and how far its other rows are from what those rows let one expect."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.curves import curve_from_toml, load_curve
from calibration.diagnosis.course import (
    CURVATURE_SPREAD_K2,
    USUAL_CURVATURE_K2,
    course_at_large,
    course_of,
)

PUBLISHED = Path(__file__).parents[1] / "published"


def published(name):
    return tomllib.loads((PUBLISHED / name).read_text("utf-8"))


def makers_tables():
    tens, ratios = published("ntc_10k.toml")["tables"], published("epcos_rt8016_rt8018.toml")
    tables = {
        "2.5 kΩ": published("ntc_2k5.toml")["rows"],
        "15 kΩ": [(t, nominal) for t, _, nominal, _ in published("senders.toml")["ntc-15k-25c"]["rows"]],
        "44006": tens["44006 and 44031"],
        # Printed as R/R25.
        "8016": [(t, 1e4 * ratio) for t, ratio in ratios["ratio_8016"]],
        "8018": [(t, 1e4 * ratio) for t, ratio in ratios["ratio_8018"]],
    }
    # What a coolant sender sees; the tables of 1 K steps thinned, or they would outvote the others.
    return {name: {t: r for t, r in rows if -40 <= t <= 130 and t % 5 == 0} for name, rows in tables.items()}


TABLES = makers_tables()
FEW = [(20, 80), (20, 100), (20, 130), (-40, 130), (0, 50), (20, 80, 90), (0, 50, 90)]


def curve_of(rows):
    lines = ",\n".join(f"{{ temperature_c = {t}, resistance_ohm = {r} }}" for t, r in rows)
    words = 'title = "some rows"\nsource = "a maker\'s table"\ntolerance = "unknown"\nwiring = "unknown"\n'
    return curve_from_toml(f'{words}allowed_current_ma = "unknown"\nrows = [\n{lines}\n]\n', name="some-rows")


def left_out(table, kept):
    """Distance of the other rows from the course through those kept, and its standard deviation; ln R."""
    other_c = np.array([float(t) for t in table if t not in kept])
    course = course_of(curve_of([(t, table[t]) for t in kept]), other_c)
    distance = np.log([table[t] for t in table if t not in kept]) - course.log_ohm
    return other_c, distance, np.sqrt(np.diag(course.covariance))


CASES = [(name, kept) for name in TABLES for kept in FEW if set(kept) <= set(TABLES[name])]


def test_most_tables_can_be_asked():
    assert len(CASES) >= 25
    assert len({name for name, _ in CASES}) == 5


@pytest.mark.parametrize(("name", "kept"), CASES, ids=str)
def test_a_row_left_out_lies_where_the_rows_kept_let_one_expect_it(name, kept):
    _, distance, sd = left_out(TABLES[name], kept)
    assert np.max(np.abs(distance) / sd) <= 2.0


@pytest.mark.parametrize("name", [name for name in TABLES if max(TABLES[name]) > 100])
def test_a_table_cut_off_at_60_degrees_goes_on_as_expected(name):
    _, distance, sd = left_out(TABLES[name], [t for t in TABLES[name] if t <= 60])
    assert np.max(np.abs(distance) / sd) <= 2.0


def test_the_scatter_is_that_of_published_tables_and_not_much_more():
    """Root mean square of all distances in standard deviations; 1 would be exact, it is on the safe side."""
    found = [left_out(TABLES[name], kept) for name, kept in CASES]
    squares = np.concatenate([(distance / sd) ** 2 for _, distance, sd in found])
    assert squares.size > 500
    assert 0.4 <= math.sqrt(np.mean(squares)) <= 1.0


def off_by_k(table, kept):
    """How far the other rows between two lie from their beta line and from the course, and its scatter; K."""
    low, high = kept
    other_c, distance, sd = left_out({t: r for t, r in table.items() if low <= t <= high}, kept)
    inverse = {t: 1.0 / (t + 273.15) for t in table}
    beta_k = math.log(table[low] / table[high]) / (inverse[low] - inverse[high])
    off_line = [
        math.log(table[t] / table[low]) - beta_k * (inverse[t] - inverse[low])
        for t in other_c.astype(int).tolist()
    ]
    kelvin_per_log = (other_c + 273.15) ** 2 / beta_k
    return (
        np.max(off_line * kelvin_per_log),
        np.max(np.abs(distance) * kelvin_per_log),
        np.max(sd * kelvin_per_log),
    )


@pytest.mark.parametrize("name", ["2.5 kΩ", "15 kΩ", "8016", "8018"])
def test_between_20_and_80_degrees_the_course_is_nearer_than_a_beta_line(name):
    """By the line through both alone some 0.4 K is left at most in the design's own reckoning."""
    by_line_k, by_course_k, sd_k = off_by_k(TABLES[name], (20, 80))
    assert 0.2 <= by_line_k <= 0.8
    assert by_course_k <= 0.65 * by_line_k
    assert sd_k <= 0.35


@pytest.mark.parametrize("name", ["2.5 kΩ", "8016", "8018"])
def test_over_the_whole_range_a_beta_line_is_kelvins_off_and_the_course_is_not(name):
    """By the line through -40 and 130 °C alone some 3.5 K is left in the design's own reckoning."""
    by_line_k, by_course_k, sd_k = off_by_k(TABLES[name], (-40, 130))
    assert 2.5 <= by_line_k <= 4.5
    assert by_course_k <= 0.3 * by_line_k
    assert sd_k <= 1.0


@pytest.mark.parametrize("span_c", [(-40, 130), (20, 80)], ids=str)
@pytest.mark.parametrize("name", TABLES)
def test_published_tables_bend_as_senders_are_said_to(name, span_c):
    rows = [(t, r) for t, r in TABLES[name].items() if span_c[0] <= t <= span_c[1]]
    inverse = np.array([1e3 / (t + 273.15) for t, _ in rows])
    bend_k2 = 2e6 * np.polyfit(inverse, np.log([r for _, r in rows]), 2)[0]
    assert abs(bend_k2 - USUAL_CURVATURE_K2) <= 2.5 * CURVATURE_SPREAD_K2


def test_what_is_left_open_is_little_at_a_row_and_ever_more_beyond_the_last():
    at_c = np.array([20.0, 80.0, 90.0, 100.0, 120.0, 150.0])
    sd = np.sqrt(np.diag(course_of(load_curve("ntc-318-80c"), at_c).covariance))
    assert np.max(sd[:2]) < 0.005
    assert np.all(np.diff(sd[1:]) > 0.0)
    assert np.all(sd < np.sqrt(np.diag(course_at_large(at_c).covariance)))


def test_printed_coefficients_are_followed_within_their_range():
    curve = load_curve("ntc-10k-25c-b3977")
    at_c = np.array([-35.0, 0.0, 25.0, 67.0, 140.0])
    expected = [math.log(curve.nominal_ohm(t)) for t in at_c.tolist()]
    assert course_of(curve, at_c).log_ohm == pytest.approx(expected, abs=0.003)


def test_the_slope_is_that_of_the_course():
    curve, at_c = load_curve("ntc-3k55-20c"), np.array([10.0, 50.0, 120.0])
    rise = course_of(curve, at_c + 1.0).log_ohm - course_of(curve, at_c - 1.0).log_ohm
    assert course_of(curve, at_c).slope_per_k == pytest.approx(rise / 2.0, rel=1e-3)
