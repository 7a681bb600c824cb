import statistics
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.comparison import (
    MEDIAN_FACTOR,
    ComparisonError,
    algorithm_a,
    en_number,
    median_and_deviation,
    zeta_score,
)

PUBLISHED = tomllib.loads((Path(__file__).parent / "published" / "comparison.toml").read_text("utf-8"))
COPPER, ALGORITHM_A, EN = PUBLISHED["copper"], PUBLISHED["algorithm_a"], PUBLISHED["en"]
PPM = COPPER["ppm"]
results = st.lists(st.floats(80.0, 100.0), min_size=5, max_size=30, unique=True)


@pytest.mark.parametrize(("value", "printed"), list(zip(EN["value"], EN["printed"], strict=True)))
def test_en_numbers_are_as_printed(value, printed):
    together = EN["denominator"]
    found = en_number(
        value=value, expanded_u=0.6 * together, reference=EN["reference"], reference_expanded_u=0.8 * together
    )
    assert found == pytest.approx(printed, abs=EN["tolerance"])


@given(
    value=st.floats(-5.0, 5.0),
    reference=st.floats(-5.0, 5.0),
    u=st.floats(0.01, 1.0),
    other=st.floats(0.01, 1.0),
)
def test_zeta_is_twice_en_where_the_factor_is_two(value, reference, u, other):
    en = en_number(value=value, expanded_u=2 * u, reference=reference, reference_expanded_u=2 * other)
    zeta = zeta_score(value=value, standard_u=u, reference=reference, reference_standard_u=other)
    assert zeta == pytest.approx(2.0 * en)


@pytest.mark.parametrize(("u", "other"), [(0.0, 0.0), (-1.0, 1.0), (1.0, -1.0), (float("nan"), 1.0)])
def test_a_comparison_without_uncertainty_is_refused(u, other):
    with pytest.raises(ComparisonError, match="above zero"):
        en_number(value=1.0, expanded_u=u, reference=1.0, reference_expanded_u=other)
    with pytest.raises(ComparisonError, match="above zero"):
        zeta_score(value=1.0, standard_u=u, reference=1.0, reference_standard_u=other)


def test_the_copper_results_start_from_their_median():
    median = statistics.median(PPM)
    assert median == pytest.approx(COPPER["median"], abs=COPPER["median_tolerance"])
    start = MEDIAN_FACTOR * statistics.median(abs(value - median) for value in PPM)
    assert start == pytest.approx(ALGORITHM_A["start_spread"], abs=1e-6)


def test_median_and_deviation_of_the_copper_results_are_where_algorithm_a_starts():
    found = median_and_deviation(PPM)
    assert found.mean == pytest.approx(COPPER["median"], abs=COPPER["median_tolerance"])
    assert found.spread == pytest.approx(ALGORITHM_A["start_spread"], abs=1e-6)
    assert found.standard_u == pytest.approx(1.25 * found.spread / 24**0.5)


@given(results, st.floats(1e3, 1e6))
def test_half_of_the_results_less_one_can_be_anything_and_the_median_stays_among_the_rest(values, wild):
    kept = values[len(values) // 2 :]
    found = median_and_deviation(kept + [wild] * (len(kept) - 1))
    assert min(kept) <= found.mean <= max(kept)


@pytest.mark.parametrize("values", [[], [1.0, float("nan")]])
def test_a_median_of_nothing_is_refused(values):
    with pytest.raises(ComparisonError, match="numbers"):
        median_and_deviation(values)


@pytest.mark.parametrize(("rounds", "expected"), list(enumerate(ALGORITHM_A["rounds"], start=1)))
def test_each_round_of_algorithm_a_is_as_worked_out(rounds, expected):
    found = algorithm_a(PPM, most_rounds=rounds)
    assert (found.mean, found.spread) == pytest.approx(expected, abs=ALGORITHM_A["tolerance"])


def test_algorithm_a_comes_to_rest_where_it_was_worked_out():
    found = algorithm_a(PPM)
    assert found.mean == pytest.approx(ALGORITHM_A["mean"], abs=ALGORITHM_A["tolerance"])
    assert found.spread == pytest.approx(ALGORITHM_A["spread"], abs=ALGORITHM_A["tolerance"])
    assert found.standard_u == pytest.approx(1.25 * found.spread / 24**0.5)


def test_huber_s_proposal_is_near_with_its_exact_constant():
    # published for the copper data; and a second opinion: statsmodels 0.15.0
    from statsmodels.robust.scale import Huber

    location, scale = Huber(c=1.5, tol=1e-10, maxiter=200)(PPM)
    found = algorithm_a(PPM)
    tolerance = COPPER["huber_tolerance"]
    assert float(location) == pytest.approx(COPPER["huber_location"], abs=tolerance)
    assert float(scale) == pytest.approx(COPPER["huber_scale"], abs=tolerance)
    # Algorithm A rounds the constant to 1.134, so it comes 0.0005 away in the spread, not more
    assert found.mean == pytest.approx(float(location), abs=0.0002)
    assert found.spread == pytest.approx(float(scale), abs=0.0006)


def test_one_wild_station_moves_the_plain_mean_and_hardly_the_robust_one():
    stations = [90.02, 89.97, 90.05, 89.99, 90.01, 89.95, 90.03]
    wild = [*stations, 62.0]
    assert abs(statistics.mean(wild) - statistics.mean(stations)) > 3.0
    assert abs(algorithm_a(wild).mean - algorithm_a(stations).mean) < 0.03


@given(values=results, shift=st.floats(-50.0, 50.0), scale=st.floats(0.5, 2.0))
def test_another_unit_gives_the_same_answer_in_that_unit(values, shift, scale):
    try:
        found = algorithm_a(values)
    except ComparisonError:
        return
    moved = algorithm_a([scale * value + shift for value in values])
    assert moved.mean == pytest.approx(scale * found.mean + shift, abs=1e-5)
    assert moved.spread == pytest.approx(scale * found.spread, abs=1e-5)


@given(values=results, chance=st.randoms(use_true_random=False))
def test_the_order_of_the_stations_does_not_matter(values, chance):
    shuffled = list(values)
    chance.shuffle(shuffled)
    assert algorithm_a(shuffled).mean == pytest.approx(algorithm_a(values).mean, abs=1e-9)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([90.0, 90.1], "3 stations"),
        ([90.0, 90.0, 90.0, 91.0], "the same"),
        ([90.0, 90.1, float("nan")], "no number"),
    ],
)
def test_results_without_a_spread_are_refused(values, words):
    with pytest.raises(ComparisonError, match=words):
        algorithm_a(values)
