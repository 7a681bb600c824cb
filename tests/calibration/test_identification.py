import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.curves import curve_names, load_curve
from calibration.diagnosis import points_by_hand
from calibration.errors import CurveRangeError
from calibration.identification import NONE_PRIOR, Candidate, Identification, identify
from calibration.thermistor.fit_point import FitPoint

PUBLISHED = Path(__file__).parent / "published"
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
LIBRARY = [load_curve(name) for name in curve_names()]


def hand(rows, *, u_percent=1.0):
    return points_by_hand(
        [
            FitPoint(
                temperature_c=float(t),
                resistance_ohm=r,
                u_temperature_k=0.6,
                u_resistance_ohm=0.01 * u_percent * r,
            )
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


def test_a_curve_of_two_rows_gives_a_verdict_only_at_its_printed_temperatures():
    at_its_rows = identify(hand([(20, 2455.0), (80, 318.0)]), LIBRARY)
    between = identify(hand([(35, 1400.0), (55, 700.0)]), LIBRARY)
    mixed = identify(hand([(20, 2455.0), (55, 700.0), (80, 318.0)]), LIBRARY)
    judged = {c.curve: c.points_judged for c in at_its_rows.candidates}
    assert judged["ntc-318-80c"] == 2
    assert "ntc-318-80c" not in {c.curve for c in between.candidates}
    assert {c.curve: c.points_judged for c in mixed.candidates}["ntc-318-80c"] == 2


@pytest.mark.parametrize(
    "rows",
    [
        [(20, 2450.0), (50, 9000.0)],
        [(20, 2450.0), (50, 300.0)],
        [(20, 3500.0), (50, 5.0)],
        [(20, 2450.0), (60, 421.0), (70, 290.0)],
        [(15, 4400.0), (60, 1200.0)],
        [(20, 2450.0), (80, 318.0), (110, 300.0)],
    ],
    ids=str,
)
def test_a_point_between_or_beyond_the_rows_refutes_a_curve_that_no_sender_leads_to_it(rows):
    found = identify(hand(rows), LIBRARY)
    assert found.none_is_likeliest
    assert found.none_of_these > 0.9


def test_a_point_beyond_the_end_of_a_table_refutes_it_too():
    table = dict(NTC_10K["tables"]["44006 and 44031"])
    rows = [(20, table[20]), (50, table[50])]
    # The printed coefficients of the 44006, made for a wider range than the table, give 1085 Ω at 90 °C.
    inverse_k = [1.032e-3 + 2.387e-4 * math.log(r) + 1.580e-7 * math.log(r) ** 3 for r in (1080.0, 1090.0)]
    assert 1.0 / inverse_k[1] < 363.15 < 1.0 / inverse_k[0]
    assert identify(hand([*rows, (90, 1085.0)]), LIBRARY).candidates[0].curve == "ntc-10k-25c"
    assert identify(hand([*rows, (90, 1085.0)]), LIBRARY).candidates[0].probability > 0.9
    assert identify(hand([*rows, (90, 3000.0)]), LIBRARY).none_of_these > 0.9


def test_a_part_that_runs_on_as_senders_do_keeps_its_curve_of_two_rows():
    """The 2.5 kΩ part between and beyond the rows of a curve whose limits at 20 and 80 °C it keeps."""
    curve = load_curve("ntc-318-80c")
    for others in [(50,), (60, 95), (40, 110)]:
        rows = [
            (t, float(NTC_2K5.get(t) or 0.5 * (NTC_2K5[t - 5] + NTC_2K5[t + 5]))) for t in (20, *others, 80)
        ]
        assert identify(hand(rows), [curve]).candidates[0].probability > 0.9


@pytest.mark.parametrize("u_percent", [0.2, 1.0, 3.0])
@pytest.mark.parametrize(
    "rows",
    [
        [(20, 2450.0), (50, 300.0), (70, 150.0)],
        [(20, 2450.0), (50, 840.0), (80, 32.0)],
        [(20, 2450.0), (80, 2450.0)],
        [(20, 318.0), (80, 2455.0)],
    ],
    ids=str,
)
def test_points_that_no_sender_explains_are_none_of_these(rows, u_percent):
    found = identify(hand(rows, u_percent=u_percent), LIBRARY)
    assert found.none_is_likeliest
    assert found.none_of_these > 0.9


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
    # At large the slope is that of beta 3600 K: 3600/298.15² per kelvin; a course leaves its parabola by 1 %.
    spread = math.sqrt(1.5**2 + 0.01**2 + 0.01**2 + (0.6 * 3600.0 / 298.15**2) ** 2)
    distance = math.log(10_000.0 / 3000.0)

    def density(sd):
        return math.exp(-0.5 * (distance / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))

    scattered = [density(math.hypot(spread, by)) for by in (0.1, 0.3, 1.0, 3.0)]
    at_large = 0.5 * density(spread) + 0.5 * sum(scattered) / 4.0
    expected = NONE_PRIOR * at_large / (NONE_PRIOR * at_large + (1.0 - NONE_PRIOR) * likelihood)
    found = identify(hand([(25, 10_000.0)]), [curve])
    assert found.none_of_these == pytest.approx(expected, rel=0.02)


def own_rows(name):
    """What a document prints of a curve; of a long table the rows a kettle reaches."""
    if name == "ntc-2k5-20c":
        return [(t, float(r)) for t, r in NTC_2K5.items() if 0 <= t <= 100]
    if name == "ntc-10k-25c":
        return [(t, float(r)) for t, r in NTC_10K["tables"]["44006 and 44031"] if t in (0, 20, 40, 59)]
    if name == "ntc-10k-25c-b3977":
        # By the coefficients of ln(R/R25) over 1/T that the document prints beside those of the file.
        a, b, c, d = -14.63372, 4791.842, -115334.0, -3730535.0
        at_k = {t: t + 273.15 for t in (0, 20, 40, 60, 80)}
        return [(t, 1e4 * math.exp(a + b / k + c / k**2 + d / k**3)) for t, k in at_k.items()]
    return [(t, float(n or (a + b) / 2)) for t, a, n, b in SENDERS[name]["rows"]]


@pytest.mark.parametrize("name", curve_names())
def test_the_published_rows_of_every_curve_lead_to_it_or_to_what_they_cannot_tell_it_from(name):
    rows = own_rows(name)
    found = identify(hand(rows), LIBRARY)
    assert not found.none_is_likeliest
    assert name in {curve for c in found.not_told_apart for curve in (c.curve, *c.coincides_with)}
    assert found.none_of_these < 0.05


def simulated(table, temperatures_c, chance):
    """A good part of a maker's table, ±5 % in R25 and ±1 % in beta, read by hand as assumed."""
    ohm = np.array([float(table[t]) for t in temperatures_c])
    ohm = ohm * (1.0 + chance.uniform(-0.05, 0.05))
    kelvin = np.array(temperatures_c) + 273.15
    beta_k = math.log(ohm[0] / ohm[-1]) / (1.0 / kelvin[0] - 1.0 / kelvin[-1])
    ohm = ohm * np.exp(chance.uniform(-0.01, 0.01) * beta_k * (1.0 / kelvin - 1.0 / 298.15))
    off_k = 0.6 * math.sqrt(0.5) * (chance.standard_normal() + chance.standard_normal(ohm.size))
    read = ohm * np.exp(-beta_k / kelvin**2 * off_k + 0.01 * chance.standard_normal(ohm.size))
    return list(zip(temperatures_c, read.tolist(), strict=True))


NTC_15K = {t: n for t, _, n, _ in SENDERS["ntc-15k-25c"]["rows"]}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "table", "temperatures_c", "at_least"),
    [
        ("ntc-2k5-20c", NTC_2K5, (20, 60, 90), 0.95),
        ("ntc-2k5-20c", NTC_2K5, (20, 80), 0.95),
        ("ntc-15k-25c", NTC_15K, (20, 60, 90), 0.95),
        ("ntc-10k-25c", dict(NTC_10K["tables"]["44006 and 44031"]), (0, 20, 55), 0.9),
        ("ntc-318-80c", NTC_2K5, (20, 50, 80), 0.8),
    ],
)
def test_good_parts_of_a_makers_table_are_named(name, table, temperatures_c, at_least):
    chance = np.random.default_rng(7)
    named = none = 0
    for _ in range(80):
        found = identify(hand(simulated(table, temperatures_c, chance)), LIBRARY)
        likeliest = found.not_told_apart[0]
        named += name in {likeliest.curve, *likeliest.coincides_with}
        none += found.none_is_likeliest
    assert named >= at_least * 80
    assert none <= 2


@pytest.mark.parametrize("r25_ohm", [300.0, 1000.0, 28_000.0, 100_000.0])
@pytest.mark.parametrize("beta_k", [3200.0, 3600.0, 4000.0])
def test_senders_that_no_curve_comes_near_are_none_of_these(r25_ohm, beta_k):
    chance = np.random.default_rng(8)
    rows = [
        (t, r25_ohm * math.exp(beta_k * (1.0 / (t + 273.15) - 1.0 / 298.15)) * (1.0 + 0.01 * noise))
        for t, noise in zip((20, 50, 80), chance.standard_normal(3).tolist(), strict=True)
    ]
    assert identify(hand(rows), LIBRARY).none_of_these > 0.9


def test_a_group_counts_as_one_against_none():
    """Three at 20 % that coincide are likelier than none at 40 %, though none of the three is."""
    three = [
        Candidate(
            curve=name, title="", probability=0.2, points_judged=2, group=1,
            coincides_with=tuple(sorted({"a", "b", "c"} - {name})),
        )
        for name in ("a", "b", "c")
    ]  # fmt: skip
    grouped = Identification(candidates=tuple(three), none_of_these=0.4)
    apart = Identification(
        candidates=tuple(replace(c, group=n, coincides_with=()) for n, c in enumerate(three, 1)),
        none_of_these=0.4,
    )
    assert not grouped.none_is_likeliest
    assert apart.none_is_likeliest


def test_a_curve_that_the_points_refute_is_not_said_to_be_indistinguishable():
    found = identify(hand([(20, 2500.0), (40, 1175.0), (60, 596.0), (80, 323.0)]), LIBRARY)
    likeliest = found.not_told_apart[0]
    assert all(20.0 * c.probability > likeliest.probability for c in found.not_told_apart)
    # 2120 Ω at 20 °C keeps the limits 2100 to 2900 Ω, and not 2370 to 2630 Ω of its twin.
    wide = identify(hand([(20, 2120.0), (90, 238.0)]), LIBRARY)
    assert wide.candidates[0].curve == "ntc-840-50c"
    assert "ntc-248-90c" in wide.candidates[0].coincides_with
    assert "ntc-248-90c" not in {c.curve for c in wide.not_told_apart}


def test_curves_that_coincide_at_one_point_and_part_at_another_are_no_group():
    """Both 10 kΩ parts are alike at 25 °C; beyond the end of the one's table, at 100 °C, they are not."""
    groups = {c.curve: c.group for c in identify(hand([(25, 10_000.0)]), LIBRARY).candidates}
    assert groups["ntc-10k-25c"] == groups["ntc-10k-25c-b3977"]
    groups = {c.curve: c.group for c in identify(hand([(25, 10_000.0), (100, 674.0)]), LIBRARY).candidates}
    assert groups["ntc-10k-25c"] != groups["ntc-10k-25c-b3977"]


@pytest.mark.parametrize("temperature_c", [-80.1, 300.1])
def test_a_temperature_at_which_no_sender_is_used_is_refused(temperature_c):
    with pytest.raises(CurveRangeError, match="No sender is used"):
        identify(hand([(20, 2455.0), (temperature_c, 300.0)]), LIBRARY)


ANY_ROWS = st.lists(
    st.tuples(st.integers(-80, 300), st.floats(1e-3, 1e9)),
    min_size=1,
    max_size=5,
    unique_by=lambda row: row[0],
)


@settings(max_examples=50, deadline=None)
@given(ANY_ROWS, st.sampled_from([1e-6, 1.0, 50.0]))
def test_whatever_is_typed_gets_probabilities(rows, u_percent):
    found = identify(hand(rows, u_percent=u_percent), LIBRARY)
    probabilities = [candidate.probability for candidate in found.candidates]
    assert all(0.0 <= p <= 1.0 for p in [*probabilities, found.none_of_these])
    assert sum(probabilities) + found.none_of_these == pytest.approx(1.0, abs=1e-9)
    assert probabilities == sorted(probabilities, reverse=True)
    assert sum(found.group_probabilities.values()) == pytest.approx(sum(probabilities))


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
