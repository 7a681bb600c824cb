import math
import random
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import FitError
from calibration.thermistor.choice import choose_model
from calibration.thermistor.fit import FitPoint, Model, fit_curve
from calibration.thermistor.steinhart_hart import SteinhartHart, SteinhartHartSquare

PUBLISHED = Path(__file__).parents[1] / "published"
NTC_2K5 = tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))
MGH10 = tomllib.loads((PUBLISHED / "nist_mgh10.toml").read_text("utf-8"))


def points_of(rows, u_temperature_k=None, u_relative=None):
    return [
        FitPoint(
            temperature_c=temperature_c,
            resistance_ohm=resistance_ohm,
            u_temperature_k=u_temperature_k,
            u_resistance_ohm=None if u_relative is None else u_relative * resistance_ohm,
        )
        for temperature_c, resistance_ohm in rows
    ]


def test_three_coefficients_leave_the_2k5_part_no_more_than_its_rounding():
    fit = fit_curve(points_of(NTC_2K5["rows"]), Model.STEINHART_HART)
    assert fit.max_residual_k <= NTC_2K5["largest_residual_k"]
    assert fit.rms_k == pytest.approx(NTC_2K5["rms_k"], abs=NTC_2K5["rms_tolerance_k"])
    assert (fit.valid_from_c, fit.valid_to_c) == (-40.0, 130.0)


def test_three_coefficients_leave_the_10k_table_ten_millikelvin():
    # Independent fit of the same published table: 10 mK at most.
    fit = fit_curve(points_of(NTC_10K["tables"]["44006 and 44031"]), Model.STEINHART_HART)
    assert fit.max_residual_k == pytest.approx(0.010, abs=0.001)


def test_the_fit_is_the_least_in_kelvin():
    points = points_of(NTC_2K5["rows"])
    fit = fit_curve(points, Model.STEINHART_HART)
    for name in "abc":
        for factor in (1 - 1e-5, 1 + 1e-5):
            moved = SteinhartHart(**{**fit.coefficients, name: fit.coefficients[name] * factor})
            squares = [(moved.temperature_c(p.resistance_ohm) - p.temperature_c) ** 2 for p in points]
            assert math.sqrt(sum(squares) / len(squares)) > fit.rms_k


def test_residuals_are_curve_minus_thermometer():
    points = points_of(NTC_2K5["rows"])
    fit = fit_curve(points, Model.STEINHART_HART_SQUARE)
    for point, residual_k in zip(points, fit.residuals_k, strict=True):
        shown_c = fit.curve.temperature_c(point.resistance_ohm)
        assert shown_c - point.temperature_c == pytest.approx(residual_k, abs=1e-9)
    assert fit.rms_k == pytest.approx(math.sqrt(sum(r * r for r in fit.residuals_k) / 18), rel=1e-12)


def test_coefficients_come_back_from_their_own_points():
    truth = SteinhartHart(a=1.032e-3, b=2.387e-4, c=1.580e-7)
    points = points_of([(t, truth.resistance_ohm(t)) for t in (0.0, 25.0, 50.0, 75.0, 100.0)])
    fit = fit_curve(points, Model.STEINHART_HART)
    for name in "abc":
        assert fit.coefficients[name] == pytest.approx(getattr(truth, name), rel=1e-7)


def test_four_coefficients_come_back_from_their_own_points():
    truth = SteinhartHartSquare(a=1.3e-3, b=2.4e-4, c=1.2e-6, d=1.0e-7)
    points = points_of([(t, truth.resistance_ohm(t)) for t in range(-40, 131, 10)])
    fit = fit_curve(points, Model.STEINHART_HART_SQUARE)
    for name in "abcd":
        assert fit.coefficients[name] == pytest.approx(getattr(truth, name), rel=1e-5)


def test_the_beta_of_two_points_is_the_printed_formula():
    fit = fit_curve(points_of([(20.0, 3550.0), (100.0, 180.0)]), Model.BETA)
    beta_k = math.log(3550 / 180) / (1 / 293.15 - 1 / 373.15)
    assert fit.coefficients["beta_k"] == pytest.approx(beta_k, rel=1e-9)
    assert fit.coefficients["r25_ohm"] == pytest.approx(
        3550 * math.exp(beta_k * (1 / 298.15 - 1 / 293.15)), rel=1e-9
    )


def test_three_points_pass_through_and_leave_nothing_to_judge_by():
    fit = fit_curve(points_of([(20.0, 2500.0), (60.0, 596.0), (90.0, 243.0)]), Model.STEINHART_HART)
    assert fit.max_residual_k < 1e-9
    assert fit.reduced_chi2 is None
    assert fit.std_uncertainties is None
    assert fit.covariance is None
    assert "no chi-squared" in fit.chi2_words


def test_three_points_with_uncertainties_carry_them_through_but_leave_no_chi_squared():
    rows = [(20.0, 2500.0), (60.0, 596.0), (90.0, 243.0)]
    fit = fit_curve(points_of(rows, u_temperature_k=0.1), Model.STEINHART_HART)
    assert fit.reduced_chi2 is None
    assert fit.std_uncertainties is not None
    # What 0.1 K at each point means at one of them is 0.1 K again: the curve passes through it.
    spread = temperature_u_k(fit, 596.0)
    assert spread == pytest.approx(0.1, rel=1e-6)


def temperature_u_k(fit, resistance_ohm):
    log_ohm = math.log(resistance_ohm)
    kelvin = fit.curve.temperature_c(resistance_ohm) + 273.15
    change = -(kelvin**2) * np.array([1.0, log_ohm, log_ohm**3])
    return math.sqrt(change @ np.array(fit.covariance) @ change)


def test_without_uncertainties_every_point_weighs_the_same_in_kelvin():
    alike = fit_curve(points_of(NTC_2K5["rows"], u_temperature_k=0.3), Model.STEINHART_HART)
    none = fit_curve(points_of(NTC_2K5["rows"]), Model.STEINHART_HART)
    for name in "abc":
        assert none.coefficients[name] == pytest.approx(alike.coefficients[name], rel=1e-9)
    assert none.reduced_chi2 is None
    assert alike.reduced_chi2 == pytest.approx(18 * none.rms_k**2 / 0.3**2 / 15, rel=1e-9)


def test_uncertain_ohms_count_by_the_slope_of_the_curve():
    """Effective variance: 1 % of R is worth |dT/dR| R / 100 kelvin."""
    rows = NTC_2K5["rows"]
    fit = fit_curve(points_of(rows, u_relative=0.01), Model.STEINHART_HART)
    slopes = [fit.curve.sensitivity_k_per_ohm(resistance_ohm) for _, resistance_ohm in rows]
    by_hand = points_of(rows)
    by_hand = [
        FitPoint(
            temperature_c=p.temperature_c,
            resistance_ohm=p.resistance_ohm,
            u_temperature_k=abs(slope) * 0.01 * p.resistance_ohm,
        )
        for p, slope in zip(by_hand, slopes, strict=True)
    ]
    again = fit_curve(by_hand, Model.STEINHART_HART)
    assert fit.reduced_chi2 == pytest.approx(again.reduced_chi2, rel=1e-6)
    for name in "abc":
        assert fit.coefficients[name] == pytest.approx(again.coefficients[name], rel=1e-8)
        assert fit.std_uncertainties[name] == pytest.approx(again.std_uncertainties[name], rel=1e-6)


def test_standard_uncertainties_are_how_far_repeated_benches_scatter():
    truth = SteinhartHart(a=1.3e-3, b=2.59e-4, c=1.68e-7)
    chance = random.Random(20240501)
    exact = [(t, truth.resistance_ohm(t)) for t in range(20, 101, 10)]
    benches = [
        fit_curve(
            [
                FitPoint(
                    temperature_c=t + chance.gauss(0.0, 0.2),
                    resistance_ohm=r * (1 + chance.gauss(0.0, 0.002)),
                    u_temperature_k=0.2,
                    u_resistance_ohm=0.002 * r,
                )
                for t, r in exact
            ],
            Model.STEINHART_HART,
        )
        for _ in range(200)
    ]
    for name in "abc":
        scatter = np.std([bench.coefficients[name] for bench in benches], ddof=1)
        stated = np.median([bench.std_uncertainties[name] for bench in benches])
        assert scatter / stated == pytest.approx(1.0, abs=0.15)
    assert np.mean([bench.reduced_chi2 for bench in benches]) == pytest.approx(1.0, abs=0.1)


@given(st.randoms(use_true_random=False))
def test_the_order_of_the_points_changes_nothing(chance):
    points = points_of(NTC_2K5["rows"], u_temperature_k=0.6, u_relative=0.01)
    shuffled = points.copy()
    chance.shuffle(shuffled)
    straight = fit_curve(points, Model.STEINHART_HART)
    mixed = fit_curve(shuffled, Model.STEINHART_HART)
    for name in "abc":
        assert mixed.coefficients[name] == pytest.approx(straight.coefficients[name], rel=1e-8)
    assert mixed.rms_k == pytest.approx(straight.rms_k, rel=1e-6)


@given(scale=st.floats(0.01, 100.0))
def test_the_size_of_the_resistor_changes_no_residual(scale):
    """A beta curve and one with the square term are closed under a change of the ohm."""
    rows = [(t, r * scale) for t, r in NTC_2K5["rows"]]
    for model in (Model.BETA, Model.STEINHART_HART_SQUARE):
        fit = fit_curve(points_of(rows), model)
        assert fit.rms_k == pytest.approx(fit_curve(points_of(NTC_2K5["rows"]), model).rms_k, rel=1e-6)


def test_too_few_temperatures_are_refused_with_what_is_needed():
    with pytest.raises(FitError, match=r"3 coefficients .* there are 2"):
        fit_curve(points_of([(20.0, 2500.0), (80.0, 323.0), (80.0, 324.0)]), Model.STEINHART_HART)


def test_points_of_which_only_some_know_their_uncertainty_are_refused():
    points = [*points_of([(20.0, 2500.0), (60.0, 596.0)], u_temperature_k=0.1), *points_of([(90.0, 243.0)])]
    with pytest.raises(FitError, match="90 °C has no uncertainty"):
        fit_curve(points, Model.STEINHART_HART)


def test_a_resistor_that_rises_with_temperature_is_no_sender():
    with pytest.raises(FitError, match="does not fall steadily"):
        fit_curve(points_of([(20.0, 100.0), (60.0, 115.0), (90.0, 127.0)]), Model.BETA)


def test_swapped_points_are_said():
    with pytest.raises(FitError, match="swapped"):
        fit_curve(points_of([(20.0, 2500.0), (60.0, 243.0), (90.0, 596.0)]), Model.STEINHART_HART)


def test_the_evidence_takes_three_coefficients_for_the_2k5_part():
    choice = choose_model(points_of(NTC_2K5["rows"]))
    assert choice.fit.model is Model.STEINHART_HART
    assert "Chose Steinhart-Hart" in choice.words
    assert min(choice.evidence, key=choice.evidence.get) is Model.STEINHART_HART


def test_the_evidence_takes_beta_where_the_points_lie_on_it_but_for_noise():
    chance = random.Random(7)
    rows = [
        (t + chance.gauss(0.0, 0.3), 2000 * math.exp(3500 * (1 / (t + 273.15) - 1 / 298.15)))
        for t in range(20, 101, 8)
    ]
    assert choose_model(points_of(rows)).fit.model is Model.BETA


def test_the_evidence_takes_the_square_term_for_the_wide_nist_thermistor_only_if_it_pays():
    rows = list(zip(MGH10["x"], MGH10["y"], strict=True))
    choice = choose_model(points_of(rows))
    best = choice.evidence[choice.fit.model]
    assert all(best <= other for other in choice.evidence.values())
    assert choice.fit.rms_k < 0.05


def test_corrected_akaike_information_is_the_textbook_formula():
    # n ln(RSS/n) + 2k + 2k(k+1)/(n-k-1), k counting the size of the noise (Hurvich and Tsai 1989)
    points = points_of(NTC_2K5["rows"])
    fit = fit_curve(points, Model.STEINHART_HART)
    squares = sum(residual_k**2 for residual_k in fit.residuals_k)
    by_hand = 18 * math.log(squares / 18) + 2 * 4 + 2 * 4 * 5 / (18 - 4 - 1)
    assert choose_model(points).evidence[Model.STEINHART_HART] == pytest.approx(by_hand, rel=1e-12)


def test_three_points_cannot_choose_a_model():
    with pytest.raises(FitError, match="too few to tell the models apart"):
        choose_model(points_of([(20.0, 2500.0), (60.0, 596.0), (90.0, 243.0)]))


@pytest.mark.parametrize(
    "wrong",
    [
        {"temperature_c": -300.0, "resistance_ohm": 10.0},
        {"temperature_c": 20.0, "resistance_ohm": 0.0},
        {"temperature_c": 20.0, "resistance_ohm": math.nan},
        {"temperature_c": 20.0, "resistance_ohm": 10.0, "u_temperature_k": 0.0},
    ],
)
def test_a_point_no_sender_can_have_is_refused(wrong):
    with pytest.raises(ValueError, match="no "):
        FitPoint(**wrong)


@pytest.mark.parametrize("known", ["u_temperature_k", "u_resistance_ohm"])
def test_an_uncertainty_that_only_some_points_give_is_refused_not_taken_as_none(known: str) -> None:
    other = "u_resistance_ohm" if known == "u_temperature_k" else "u_temperature_k"
    values = {"u_temperature_k": 0.1, "u_resistance_ohm": 2.0}
    rows = [(20.0, 2500.0), (40.0, 1175.0), (60.0, 596.0), (80.0, 323.0)]
    points = [
        FitPoint(temperature_c=t, resistance_ohm=r, **{known if i else other: values[known if i else other]})
        for i, (t, r) in enumerate(rows)
    ]
    with pytest.raises(FitError, match="has no uncertainty of its"):
        fit_curve(points, Model.STEINHART_HART)


def test_a_fit_says_which_quantity_counts_as_exact() -> None:
    rows = [(20.0, 2500.0), (40.0, 1175.0), (60.0, 596.0), (80.0, 323.0)]
    points = [FitPoint(temperature_c=t, resistance_ohm=r, u_temperature_k=0.1) for t, r in rows]
    assert "The resistance was given no uncertainty" in fit_curve(points, Model.STEINHART_HART).chi2_words
