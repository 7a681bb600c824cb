import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.curves import curve_names, load_curve
from calibration.diagnosis import points_by_hand
from calibration.identification import NONE_PRIOR, identify
from calibration.thermistor.fit_point import FitPoint

PUBLISHED = Path(__file__).parent / "published"
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
LIBRARY = [load_curve(name) for name in curve_names()]


def hand(rows):
    return points_by_hand(
        [
            FitPoint(temperature_c=float(t), resistance_ohm=r, u_temperature_k=0.6, u_resistance_ohm=0.01 * r)
            for t, r in rows
        ]
    )


def printed(name, temperatures_c):
    rows = {t: n or (a + b) / 2 for t, a, n, b in SENDERS[name]["rows"]}
    return [(t, rows[t]) for t in temperatures_c]


@pytest.mark.parametrize(
    ("name", "temperatures_c"),
    [
        ("ntc-15k-25c", (20, 90)),
        ("ntc-3k55-20c", (20, 100)),
        ("ntc-290-110c", (60, 90)),
        ("ntc-160-60c", (60, 88)),
        ("ntc-80r9-128c", (15, 128)),
    ],
)
def test_a_published_part_is_found_by_two_of_its_printed_rows(name, temperatures_c):
    found = identify(hand(printed(name, temperatures_c)), LIBRARY)
    assert found.candidates[0].curve == name
    assert found.candidates[0].probability > 0.9
    assert not found.none_is_likeliest


def test_the_10k_parts_of_two_betas_are_told_apart():
    table = dict(NTC_10K["tables"]["44006 and 44031"])
    found = identify(hand([(t, table[t]) for t in (-20, 25, 55)]), LIBRARY)
    assert found.candidates[0].curve == "ntc-10k-25c"
    assert found.candidates[0].probability > 0.9


def test_the_2k5_class_is_a_group_that_two_points_cannot_part():
    found = identify(hand([(20, NTC_2K5[20]), (80, NTC_2K5[80])]), LIBRARY)
    leader = found.candidates[0]
    group = {leader.curve, *leader.coincides_with}
    # Printed at 20 °C: 2320 to 2590 and 2205 to 2695 Ω; at 80 °C: 310 to 326 and 287 to 349 Ω.
    assert {"ntc-2k5-20c", "ntc-318-80c", "ntc-2k45-20c"} <= group
    assert found.group_probabilities[leader.group] > 0.5


def test_a_curve_of_two_rows_counts_only_at_its_printed_temperatures():
    at_its_rows = identify(hand([(20, 2455.0), (80, 318.0)]), LIBRARY)
    between = identify(hand([(35, 1400.0), (55, 700.0)]), LIBRARY)
    mixed = identify(hand([(20, 2455.0), (55, 700.0), (80, 318.0)]), LIBRARY)
    judged = {c.curve: c.points_judged for c in at_its_rows.candidates}
    assert judged["ntc-318-80c"] == 2
    assert "ntc-318-80c" not in {c.curve for c in between.candidates}
    assert {c.curve: c.points_judged for c in mixed.candidates}["ntc-318-80c"] == 2


@pytest.mark.parametrize("rows", [[(20, 1000.0), (80, 150.0)], [(20, 900.0), (50, 700.0), (80, 600.0)]])
def test_a_part_of_no_curve_is_none_of_these(rows):
    found = identify(hand(rows), LIBRARY)
    assert found.none_is_likeliest
    assert found.none_of_these > 0.9


def test_where_no_curve_can_judge_it_is_none_of_these_for_certain():
    found = identify(hand([(300.0, 5.0)]), LIBRARY)
    assert (found.candidates, found.none_of_these) == ((), pytest.approx(1.0))
    assert found.none_is_likeliest


def test_one_curve_against_none_is_weighed_as_by_hand():
    """One point at 25 °C of the 10 kΩ curve, exactly on it, with the densities written out.

    Good parts: ±5 % of R25, all alike; at large: ln R25 about ln 3000 with standard deviation 1.5.
    """
    curve = load_curve("ntc-10k-25c")
    table = dict(NTC_10K["tables"]["44006 and 44031"])
    u = math.hypot(0.01, 0.6 * math.log(table[24] / table[26]) / 2.0)
    likelihood = math.erf(0.05 / u / math.sqrt(2.0)) / 0.10
    # At large the slope is that of beta 3600 K: 3600/298.15² per kelvin.
    spread = math.sqrt(1.5**2 + 0.01**2 + (0.6 * 3600.0 / 298.15**2) ** 2)
    distance = math.log(10_000.0 / 3000.0)
    at_large = math.exp(-0.5 * (distance / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))
    expected = NONE_PRIOR * at_large / (NONE_PRIOR * at_large + (1.0 - NONE_PRIOR) * likelihood)
    found = identify(hand([(25, 10_000.0)]), [curve])
    assert found.none_of_these == pytest.approx(expected, rel=0.02)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-30, 120), st.floats(50.0, 50_000.0)),
        min_size=1, max_size=4, unique_by=lambda row: row[0],
    ),
    st.randoms(use_true_random=False),
)  # fmt: skip
def test_probabilities_sum_to_one_in_whatever_order_the_points_come(rows, shuffler):
    shuffled = list(rows)
    shuffler.shuffle(shuffled)
    one, other = identify(hand(rows), LIBRARY), identify(hand(shuffled), LIBRARY)
    total = sum(candidate.probability for candidate in one.candidates) + one.none_of_these
    assert total == pytest.approx(1.0, abs=1e-9)
    theirs = {candidate.curve: candidate.probability for candidate in other.candidates}
    for candidate in one.candidates:
        assert theirs[candidate.curve] == pytest.approx(candidate.probability, abs=1e-9)
