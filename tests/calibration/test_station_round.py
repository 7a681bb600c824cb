import math
import random
import statistics
import tomllib
from pathlib import Path

import pytest

from calibration.comparison import ComparisonError, algorithm_a
from calibration.station_round import Agreement, StatedValue, compare_stations

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "comparison.toml").read_text("utf-8"))


def stated(*values, expanded_u=0.1):
    return {
        f"station-{number}": StatedValue(value=value, expanded_u=expanded_u)
        for number, value in enumerate(values, start=1)
    }


def test_a_round_fed_with_the_published_results_gives_the_published_en_numbers():
    en = PUBLISHED["en"]  # its source stands in the file
    together = en["denominator"]
    found = compare_stations(
        stated(*en["value"], expanded_u=0.6 * together),
        reference=StatedValue(value=en["reference"], expanded_u=0.8 * together),
    )
    assert [one.en for one in found.stations] == pytest.approx(en["printed"], abs=en["tolerance"])
    assert {one.agreement for one in found.stations} == {Agreement.AGREES}


def test_a_round_of_the_copper_results_gives_mean_and_spread_as_worked_out():
    copper, expected = PUBLISHED["copper"], PUBLISHED["algorithm_a"]
    found = compare_stations(stated(*copper["ppm"])).robust
    assert found.mean == pytest.approx(expected["mean"], abs=expected["tolerance"])
    assert found.spread == pytest.approx(expected["spread"], abs=expected["tolerance"])
    assert found.standard_u == pytest.approx(1.25 * expected["spread"] / math.sqrt(24), abs=1e-6)


def test_with_a_reference_a_station_is_held_against_it_and_not_against_the_mean():
    reference = StatedValue(value=60.0, expanded_u=0.08)
    found = compare_stations(stated(60.03, 59.96, 60.01, 60.44, expanded_u=0.12), reference=reference)
    last = found.stations[-1]
    assert last.difference == pytest.approx(0.44)
    assert last.difference_expanded_u == pytest.approx(math.hypot(0.12, 0.08))
    assert last.agreement is Agreement.DOES_NOT_AGREE
    assert [one.agreement for one in found.stations[:3]] == [Agreement.AGREES] * 3


def test_without_a_reference_a_station_has_no_part_in_what_it_is_held_against():
    values = (60.03, 59.96, 60.01, 60.05, 60.44)
    found = compare_stations(stated(*values, expanded_u=0.3))
    for number, one in enumerate(found.stations):
        others = algorithm_a([value for place, value in enumerate(values) if place != number])
        assert one.assigned.value == pytest.approx(others.mean)
        assert one.assigned.expanded_u >= 2.0 * others.standard_u
    assert found.why_no_en == "" and found.stations[-1].agreement is Agreement.DOES_NOT_AGREE


def test_others_that_lie_together_by_chance_do_not_make_their_mean_surer_than_they_say_themselves():
    found = compare_stations(stated(60.0, 60.0001, 60.0002, 60.0003, expanded_u=0.3))
    for one in found.stations:
        assert one.assigned.expanded_u == pytest.approx(0.3 / math.sqrt(3))


@pytest.mark.slow
def test_of_honest_stations_without_a_reference_about_95_in_100_agree():
    chance, u, agreed = random.Random(1), 0.05, []
    for _ in range(300):
        values = [60.0 + chance.gauss(0.0, u) for _ in range(8)]
        found = compare_stations(stated(*values, expanded_u=2.0 * u))
        agreed += [one.agreement is Agreement.AGREES for one in found.stations]
    # 2400 stations, the eight of a round leaning on each other: two standard errors are about 1 in 100
    assert 0.94 < statistics.fmean(agreed) < 0.98


def test_a_single_station_has_its_en_number_and_no_robust_mean():
    found = compare_stations(stated(60.2), reference=StatedValue(value=60.0, expanded_u=0.1))
    assert found.stations[0].en == pytest.approx(0.2 / math.hypot(0.1, 0.1))
    assert found.robust is None and "3 stations or more" in found.why_no_robust


def test_results_of_which_most_are_alike_keep_their_en_numbers_and_say_why_there_is_no_mean():
    found = compare_stations(
        stated(60.0, 60.0, 60.0, 60.4), reference=StatedValue(value=60.0, expanded_u=0.1)
    )
    assert found.robust is None and "give more digits" in found.why_no_robust
    assert [one.agreement.words for one in found.stations] == ["agrees"] * 3 + ["does not agree"]


def test_three_stations_without_a_reference_have_a_mean_and_no_en_number():
    found = compare_stations(stated(60.0, 60.1, 60.4))
    assert found.robust is not None
    assert {one.en for one in found.stations} == {None} and "needs 4 stations" in found.why_no_en


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"value": math.nan, "expanded_u": 0.1}, "no number"),
        ({"value": 60.0, "expanded_u": 0.0}, "above zero"),
        ({"value": 60.0, "expanded_u": 0.1, "k": 1.0}, "twice the number"),
        ({"value": 60.0, "expanded_u": 0.1, "k": 9.0}, "from 1.6 to 5"),
    ],
)
def test_what_is_no_result_is_refused_in_words(given, words):
    with pytest.raises(ComparisonError, match=words):
        StatedValue(**given)


def test_a_round_without_results_is_refused():
    with pytest.raises(ComparisonError, match="No station"):
        compare_stations({})


def words(found):
    return ["not told" if one.agreement is None else one.agreement.words for one in found.stations]


AGREES, OFF, NOT_TOLD = "agrees", "does not agree", "not told"


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ((1.00, 1.01, 0.99, 6.00, 55.00), [AGREES] * 3 + [OFF] * 2),  # two wild of five
        ((1.00, 1.01, 0.99, 55.00), [AGREES] * 3 + [OFF]),  # one of four
        ((60.1,) * 5 + (63.0,), [AGREES] * 5 + [OFF]),  # alike to the last digit
        ((60.1,) * 4, [AGREES] * 4),
        ((1.0, 1.0, 1.0, 5.0), [AGREES] * 3 + [OFF]),
        ((1.0, 1.0, 5.0, 5.0), [NOT_TOLD] * 4),  # half against half
        ((1.00, 1.01, 5.00, 5.01), [NOT_TOLD] * 4),
        ((1.0, 1.0, 1.0, 5.0, 5.0, 5.0), [NOT_TOLD] * 6),
        ((1.0, 2.0, 4.0, 8.0, 16.0), [NOT_TOLD] * 4 + [OFF]),  # none is right about its U
    ],
)
def test_a_wild_station_is_named_and_never_covers_another(values, expected):
    assert words(compare_stations(stated(*values))) == expected


def test_honest_stations_that_scatter_by_more_than_one_of_them_states_do_not_stand_out():
    values, expanded_u = (0.4, 4.6, 0.6, 10.8, 1.0), (0.1, 2.0, 0.5, 0.5, 2.0)
    results = {
        f"station-{number}": StatedValue(value=value, expanded_u=u)
        for number, (value, u) in enumerate(zip(values, expanded_u, strict=True), start=1)
    }
    assert words(compare_stations(results)) == [AGREES, OFF, AGREES, OFF, AGREES]


def test_a_median_is_stated_less_sure_than_a_mean_of_as_many_stations():
    """Of two that state U = 0.1: 1.25 × 0.1/√2. A median varies √(π/2) = 1.25 times as much as a mean."""
    beside_a_wild_one = stated(1.00, 1.01, 0.99, 55.0)
    against = compare_stations(beside_a_wild_one).stations[0].assigned
    assert against.value == 1.00
    assert against.expanded_u == pytest.approx(1.25 * 0.1 / math.sqrt(2.0))


def test_a_wild_station_has_no_part_in_what_the_others_are_held_against():
    without = compare_stations(stated(1.00, 1.01, 0.99, 1.02))
    beside = compare_stations(stated(1.00, 1.01, 0.99, 55.0))
    for one in beside.stations[:3]:
        assert abs(one.difference) < 0.03 and one.assigned.expanded_u < 0.1
    assert beside.stations[3].difference == pytest.approx(54.0)
    assert beside.stations[3].assigned == without.stations[3].assigned


@pytest.mark.slow
@pytest.mark.parametrize(("count", "wild"), [(4, 1), (5, 1), (5, 2), (8, 3)])
def test_beside_wild_stations_the_honest_agree_as_often_as_95_in_100_and_the_wild_never(count, wild):
    chance, u, agreed = random.Random(2), 0.05, []
    for _ in range(100):
        honest = [60.0 + chance.gauss(0.0, u) for _ in range(count - wild)]
        far = [60.0 + chance.choice((-1.0, 1.0)) * chance.uniform(20.0, 1000.0) * u for _ in range(wild)]
        found = compare_stations(stated(*honest, *far, expanded_u=2.0 * u))
        agreed += [one.agreement is Agreement.AGREES for one in found.stations[: count - wild]]
        assert all(one.agreement is not Agreement.AGREES for one in found.stations[count - wild :])
    # of 300 stations or more two standard errors are 2.5 in 100
    assert 0.92 < statistics.fmean(agreed) < 0.99
