import itertools
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from calibration.uncertainty.budget import BudgetLine, CoverageRule, Distribution, combine, coverage_factor
from calibration.uncertainty.monte_carlo import (
    Input,
    numerical_tolerance,
    opinion_on,
    second_opinion,
    simulate,
    simulate_adaptively,
)

GUM1 = tomllib.loads((Path(__file__).parents[1] / "published" / "jcgm101.toml").read_text("utf-8"))
ADDITIVE = GUM1["additive"]
P = GUM1["probability"]


def total(drawn):
    return sum(drawn.values())


def additive_inputs(example):
    return {
        f"x{place}": Input(estimate=0.0, standard_u=u, distribution=Distribution(example["shape"]))
        for place, u in enumerate(example["standard_u"])
    }


def half_interval_of_rectangles(standard_us, probability):
    """Exact, by the volume of a cut box: what the trials must come to."""
    halves = [u * math.sqrt(3.0) for u in standard_us]
    scale = math.factorial(len(halves)) * math.prod(2.0 * half for half in halves)

    def below(end):
        signs = itertools.product((1.0, -1.0), repeat=len(halves))
        return (
            sum(
                math.prod(sign) * max(end + float(np.dot(sign, halves)), 0.0) ** len(halves) for sign in signs
            )
            / scale
        )

    low, high = 0.0, sum(halves)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if 2.0 * below(middle) - 1.0 > probability else (middle, high)
    return low


@pytest.mark.parametrize("example", ADDITIVE, ids=lambda example: example["name"])
def test_additive_examples_of_the_supplement_come_out(example):
    found = simulate_adaptively(total, additive_inputs(example), seed=11, probability=P)
    assert found.stable
    assert found.standard_u == pytest.approx(example["combined_u"], rel=0.01)
    for end in found.symmetric:
        assert abs(end) == pytest.approx(example["half_interval"], rel=0.01)
    # the shortest interval slides easily on a flat top; its length does not
    assert found.expanded_u == pytest.approx(example["half_interval"], rel=0.01)


@pytest.mark.parametrize("example", ADDITIVE[1:], ids=lambda example: example["name"])
def test_the_remembered_intervals_are_those_of_the_exact_sum(example):
    exact = half_interval_of_rectangles(example["standard_u"], P)
    assert exact == pytest.approx(example["half_interval"], abs=0.05 if exact > 10 else 0.005)
    found = simulate(total, additive_inputs(example), seed=12, trials=400_000, probability=P)
    assert found.symmetric[1] == pytest.approx(exact, rel=0.004)


@pytest.mark.parametrize("example", ADDITIVE, ids=lambda example: example["name"])
def test_a_budget_is_validated_where_the_supplement_validates_it(example):
    combined_u = math.hypot(*example["standard_u"])
    expanded_u = coverage_factor(math.inf, P) * combined_u
    assert expanded_u == pytest.approx(example["gum_half_interval"], abs=0.05)
    simulated = simulate_adaptively(
        total, additive_inputs(example), seed=13, probability=P, tolerance_share=0.2
    )
    opinion = opinion_on(estimate=0.0, standard_u=combined_u, expanded_u=expanded_u, simulated=simulated)
    assert opinion.agrees is example["validated"]


def mass_model(drawn):
    mass = GUM1["mass"]
    buoyancy = 1.0 / drawn["weight_density"] - 1.0 / drawn["reference_density"]
    in_air = 1.0 + (drawn["air_density"] - mass["air_density_0"]) * buoyancy
    return (drawn["m_rc"] + drawn["delta_m_rc"]) * in_air - mass["nominal"]


def mass_inputs():
    mass = GUM1["mass"]
    inputs = {
        name: Input(estimate=mass[name][0], standard_u=mass[name][1]) for name in ("m_rc", "delta_m_rc")
    }
    for name in ("air_density", "weight_density", "reference_density"):
        low, high = mass[name]
        inputs[name] = Input(
            estimate=0.5 * (low + high),
            standard_u=0.5 * (high - low) / math.sqrt(3.0),
            distribution=Distribution.RECTANGULAR,
        )
    return inputs


def test_a_nonlinear_model_shows_what_first_order_misses():
    mass = GUM1["mass"]
    found = simulate(mass_model, mass_inputs(), seed=14, trials=1_000_000, probability=P)
    assert found.estimate == pytest.approx(mass["estimate"], abs=mass["tolerance"])
    assert found.standard_u == pytest.approx(mass["combined_u"], abs=mass["tolerance"])
    assert found.shortest == pytest.approx(mass["shortest"], abs=3 * mass["tolerance"])
    opinion = opinion_on(
        estimate=mass["estimate"],
        standard_u=mass["gum_combined_u"],
        expanded_u=1.96 * mass["gum_combined_u"],
        simulated=found,
    )
    assert not opinion.agrees


def one_line(distribution, **changes):
    return BudgetLine(
        quantity="one",
        estimate=0.0,
        unit="K",
        standard_u=1.0,
        distribution=distribution,
        sensitivity=-0.5,
        **changes,
    )


def test_the_second_opinion_on_a_normal_budget_agrees():
    budget = combine(estimate=3.0, unit="K", lines=[one_line(Distribution.NORMAL)] * 4)
    opinion = second_opinion(budget, seed=15)
    assert opinion.agrees
    assert opinion.simulated.estimate == pytest.approx(3.0, abs=0.02)


def test_two_sigma_of_a_lone_rectangle_are_contradicted_and_its_own_factor_is_not():
    lines = [one_line(Distribution.RECTANGULAR)]
    two_sigma = combine(estimate=0.0, unit="K", lines=lines)
    shaped = combine(estimate=0.0, unit="K", lines=lines, coverage=CoverageRule.DOMINANT_WITH_REST)
    assert not second_opinion(two_sigma, seed=16).agrees
    assert second_opinion(shaped, seed=16).agrees


def test_few_readings_are_drawn_with_their_long_tails():
    found = simulate(
        total,
        {"x": Input(estimate=0.0, standard_u=1.0, degrees_of_freedom=4.0)},
        seed=17,
        trials=400_000,
        probability=0.95,
    )
    assert found.symmetric[1] == pytest.approx(2.78, abs=0.03)  # NIST TN 1297 Table B.1, nu = 4, 95 %


@pytest.mark.parametrize("distribution", list(Distribution))
def test_every_shape_is_drawn_with_its_own_standard_deviation(distribution):
    drawn = Input(estimate=5.0, standard_u=0.3, distribution=distribution).draw(
        np.random.default_rng(18), 200_000
    )
    assert drawn.mean() == pytest.approx(5.0, abs=0.003)
    assert drawn.std() == pytest.approx(0.3, rel=0.01)


def test_the_same_seed_gives_the_same_trials_and_another_does_not():
    runs = [
        simulate(total, {"x": Input(estimate=0.0, standard_u=1.0)}, seed=s, trials=10_000) for s in (1, 1, 2)
    ]
    assert runs[0] == runs[1] != runs[2]


def test_a_skewed_result_has_a_shorter_interval_than_the_symmetric_one():
    found = simulate(
        lambda drawn: np.exp(drawn["x"]), {"x": Input(estimate=0.0, standard_u=1.0)}, seed=19, trials=100_000
    )
    assert found.expanded_u < 0.5 * (found.symmetric[1] - found.symmetric[0])
    assert found.shortest[0] < found.symmetric[0]


@pytest.mark.parametrize(
    ("standard_u", "digits", "tolerance"),
    [(2.0, 2, 0.05), (10.1, 2, 0.5), (0.0754, 2, 0.0005), (0.0996, 2, 0.005), (0.00035, 1, 0.00005)],
)
def test_the_tolerance_is_half_of_the_last_digit(standard_u, digits, tolerance):
    # JCGM 101, 7.9.2; 0.0996 is 0.10 to two digits
    assert numerical_tolerance(standard_u, digits) == pytest.approx(tolerance)


def test_too_few_trials_and_results_that_are_no_numbers_are_refused():
    inputs = {"x": Input(estimate=0.0, standard_u=1.0)}
    with pytest.raises(ValueError, match="2198 or more"):
        simulate(total, inputs, seed=1, trials=1000)
    with pytest.raises(ValueError, match="leaves its range"), np.errstate(invalid="ignore"):
        simulate(lambda drawn: np.log(drawn["x"]), inputs, seed=1, trials=10_000)
    with pytest.raises(ValueError, match="above zero"):
        numerical_tolerance(0.0, 2)


@pytest.mark.parametrize("degrees_of_freedom", [2.0, 4.0, 14.0, 60.5])
def test_few_readings_follow_student_s_distribution_all_the_way(degrees_of_freedom):
    # second opinion on the draws: the distribution function of scipy, Kolmogorov and Smirnov's distance
    drawn = Input(estimate=0.0, standard_u=1.0, degrees_of_freedom=degrees_of_freedom).draw(
        np.random.default_rng(21), 200_000
    )
    assert stats.kstest(drawn, stats.t(degrees_of_freedom).cdf).statistic < 1.63 / math.sqrt(200_000)
