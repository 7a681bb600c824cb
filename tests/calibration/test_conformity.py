import itertools
import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.conformity import DecisionRule, Verdict, decide, overall_verdict
from calibration.conformity_risk import probability_within, probability_wrong

RULES = tomllib.loads((Path(__file__).parent / "published" / "decision_rules.toml").read_text("utf-8"))
SIMPLE, GUARDED = DecisionRule.SIMPLE, DecisionRule.GUARDED
IN, OUT, OPEN = Verdict.IN_TOLERANCE, Verdict.OUT_OF_TOLERANCE, Verdict.NOT_DECIDED
errors_k = st.floats(-20.0, 20.0)
spans_k = st.floats(0.001, 10.0)


@pytest.mark.parametrize("example", RULES["acceptance"], ids=lambda e: f"{e['rule']} {e['nominal']}")
def test_acceptance_ends_where_the_worked_examples_say(example):
    for edge, outwards in ((example["accepted_from"], -1), (example["accepted_to"], 1)):
        for step, accepted in ((-1e-6, True), (1e-6, False)):
            verdict = decide(
                error_k=edge - example["nominal"] + outwards * step * example["limit"],
                expanded_u_k=example["expanded_u"],
                limit_k=example["limit"],
                rule=DecisionRule(example["rule"]),
            )
            assert (verdict is IN) is accepted


def test_the_micrometer_of_the_laboratory_note_passes_and_does_not_pass():
    # as printed: MPE 0.003 mm, U = 0.0010 mm: 0.0017 pass, 0.0025 not pass
    passed = decide(error_k=0.0017, expanded_u_k=0.0010, limit_k=0.003, rule=GUARDED)
    failed = decide(error_k=0.0025, expanded_u_k=0.0010, limit_k=0.003, rule=GUARDED)
    assert passed is IN
    assert failed is OPEN


@pytest.mark.parametrize("risk", RULES["risk"], ids=lambda risk: risk["rule"])
def test_the_chance_of_being_wrong_at_the_edge_is_as_printed(risk):
    limit_k, expanded_u_k = 10.0, 0.2
    edge_k = limit_k - risk["guard_band_in_u"] * expanded_u_k
    within = probability_within(
        error_k=edge_k,
        standard_u_k=expanded_u_k / 2,
        degrees_of_freedom=math.inf,
        limits_k=(-limit_k, limit_k),
    )
    wrong = probability_wrong(IN, within)
    assert wrong == pytest.approx(risk["exact"], rel=0.003)
    assert wrong <= risk["printed_at_most"] + 1e-12


def test_few_readings_make_a_wrong_verdict_likelier():
    def wrong(degrees_of_freedom):
        return 1 - probability_within(
            error_k=0.6, standard_u_k=0.2, degrees_of_freedom=degrees_of_freedom, limits_k=(-1.0, 1.0)
        )

    assert wrong(2) > wrong(10) > wrong(math.inf)


def test_nothing_decided_is_nothing_wrong():
    assert probability_wrong(OPEN, 0.4) is None
    assert probability_wrong(OUT, 0.1) == 0.1


@given(error_k=errors_k, expanded_u_k=spans_k, limit_k=spans_k)
def test_simple_acceptance_always_decides(error_k, expanded_u_k, limit_k):
    assert decide(error_k=error_k, expanded_u_k=expanded_u_k, limit_k=limit_k, rule=SIMPLE) is not OPEN


@given(error_k=errors_k, expanded_u_k=spans_k, limit_k=spans_k)
def test_the_guarded_rule_never_contradicts_the_simple_one(error_k, expanded_u_k, limit_k):
    guarded = decide(error_k=error_k, expanded_u_k=expanded_u_k, limit_k=limit_k, rule=GUARDED)
    simple = decide(error_k=error_k, expanded_u_k=expanded_u_k, limit_k=limit_k, rule=SIMPLE)
    assert guarded in (simple, OPEN)


@given(error_k=errors_k, expanded_u_k=spans_k, limit_k=spans_k)
def test_too_hot_and_too_cold_are_judged_alike(error_k, expanded_u_k, limit_k):
    for rule in DecisionRule:
        hot = decide(error_k=error_k, expanded_u_k=expanded_u_k, limit_k=limit_k, rule=rule)
        cold = decide(error_k=-error_k, expanded_u_k=expanded_u_k, limit_k=limit_k, rule=rule)
        assert hot is cold


@pytest.mark.parametrize("verdicts", list(itertools.product([IN, OUT, OPEN], repeat=3)))
def test_one_point_out_is_out_and_one_open_point_is_not_decided(verdicts):
    expected = OUT if OUT in verdicts else OPEN if OPEN in verdicts else IN
    assert overall_verdict(verdicts) is expected


def test_no_points_decide_nothing():
    assert overall_verdict([]) is OPEN
