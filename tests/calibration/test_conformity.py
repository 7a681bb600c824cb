import itertools
import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.conformity import (
    DecisionRule,
    FourWayStatement,
    Verdict,
    decide,
    overall_verdict,
    rds_guard_band_share,
    state_four_ways,
)
from calibration.conformity_risk import joint_risk, probability_within, probability_wrong, spread_of_items

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
    assert wrong == pytest.approx(risk["exact"], rel=0.004)
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


@pytest.mark.parametrize("band", RULES["guard_band"], ids=lambda band: band["rule"])
def test_a_guard_band_of_another_share_accepts_what_its_rule_accepts(band):
    for edge, outwards in ((band["accepted_from"], -1), (band["accepted_to"], 1)):
        for step, accepted in ((-1e-6, True), (1e-6, False)):
            verdict = decide(
                error_k=edge - 10.0 + outwards * step,
                expanded_u_k=0.2,
                limit_k=1.0,
                rule=GUARDED,
                guard_band_share=band["share"],
            )
            assert (verdict is IN) is accepted


def test_the_uncritical_rule_rejects_only_what_is_clearly_out():
    rule = RULES["uncritical"]
    judged = {
        error_k: decide(
            error_k=error_k,
            expanded_u_k=0.2,
            limit_k=1.0,
            rule=GUARDED,
            guard_band_share=rule["guard_band_in_u"],
        )
        for error_k in (0.9, 1.19, -1.19, 1.21, -1.21)
    }
    assert list(judged.values()) == [IN, IN, IN, OUT, OUT]
    within = probability_within(
        error_k=1.2, standard_u_k=0.1, degrees_of_freedom=math.inf, limits_k=(-1.0, 1.0)
    )
    assert probability_wrong(OUT, within) == pytest.approx(rule["wrong_rejection"], rel=0.003)


@pytest.mark.parametrize(
    ("error_k", "statement"),
    [
        (0.0, FourWayStatement.PASS),
        (-0.8, FourWayStatement.PASS),
        (0.81, FourWayStatement.CONDITIONAL_PASS),
        (-1.0, FourWayStatement.CONDITIONAL_PASS),
        (1.01, FourWayStatement.CONDITIONAL_FAIL),
        (-1.19, FourWayStatement.CONDITIONAL_FAIL),
        (1.21, FourWayStatement.FAIL),
    ],
)
def test_four_words_meet_at_the_limit_and_at_the_guard_bands(error_k, statement):
    assert state_four_ways(error_k=error_k, expanded_u_k=0.2, limit_k=1.0) is statement


@given(error_k=errors_k, expanded_u_k=spans_k, limit_k=spans_k, share=st.floats(0.0, 3.0))
def test_four_words_say_what_three_say(error_k, expanded_u_k, limit_k, share):
    settings = {"error_k": error_k, "expanded_u_k": expanded_u_k, "limit_k": limit_k}
    four = state_four_ways(**settings, guard_band_share=share)
    guarded = decide(**settings, rule=GUARDED, guard_band_share=share)
    simple = decide(**settings, rule=SIMPLE)
    assert (four is FourWayStatement.PASS) is (guarded is IN)
    assert (four is FourWayStatement.FAIL) is (guarded is OUT)
    assert four.value.endswith("pass") is (simple is IN)


@given(
    error_k=errors_k,
    expanded_u_k=spans_k,
    limit_k=spans_k,
    share=st.floats(0.0, 2.0),
    more=st.floats(0.0, 2.0),
)
def test_a_wider_guard_band_never_accepts_more(error_k, expanded_u_k, limit_k, share, more):
    settings = {"error_k": error_k, "expanded_u_k": expanded_u_k, "limit_k": limit_k, "rule": GUARDED}
    narrow, wide = (
        decide(**settings, guard_band_share=share),
        decide(**settings, guard_band_share=share + more),
    )
    assert wide is not IN or narrow is IN


def test_four_words_need_a_guard_band():
    with pytest.raises(ValueError, match="not negative"):
        state_four_ways(error_k=0.0, expanded_u_k=0.2, limit_k=1.0, guard_band_share=-1.0)


def test_words_are_said_without_underscores():
    assert FourWayStatement.CONDITIONAL_PASS.words == "conditional pass"


@pytest.mark.parametrize("joint", RULES["joint"], ids=lambda joint: f"limit {joint['limit_over_u']:g} U")
def test_of_all_items_the_share_judged_wrongly_is_as_worked_out(joint):
    risk = joint_risk(
        item_spread_k=spread_of_items(limit_k=2.0, share_in_tolerance=0.95),
        standard_u_k=2.0 / joint["limit_over_u"] / 2.0,
        limit_k=2.0,
        acceptance_k=2.0,
    )
    assert 100.0 * risk.wrong_acceptance == pytest.approx(joint["wrong_acceptance_percent"], abs=0.001)
    assert 100.0 * risk.wrong_rejection == pytest.approx(joint["wrong_rejection_percent"], abs=0.001)


def test_the_root_difference_of_squares_leaves_its_joint_risk():
    rule = RULES["root_difference_of_squares"]
    expanded_u_k = 1.0 / rule["limit_over_u"]
    share = rds_guard_band_share(expanded_u_k=expanded_u_k, limit_k=1.0)
    assert 1.0 - share * expanded_u_k == pytest.approx(math.sqrt(1.0 - expanded_u_k**2))
    risk = joint_risk(
        item_spread_k=spread_of_items(limit_k=1.0, share_in_tolerance=0.95),
        standard_u_k=expanded_u_k / 2.0,
        limit_k=1.0,
        acceptance_k=1.0 - share * expanded_u_k,
    )
    assert 100.0 * risk.wrong_acceptance == pytest.approx(
        rule["wrong_acceptance_percent"], abs=rule["tolerance_percent"]
    )


@given(
    item_spread_k=st.floats(0.05, 5.0),
    standard_u_k=st.floats(0.01, 2.0),
    guard=st.floats(0.0, 1.0),
)
def test_a_guard_band_trades_wrong_acceptance_for_wrong_rejection(item_spread_k, standard_u_k, guard):
    def risk(acceptance_k):
        return joint_risk(
            item_spread_k=item_spread_k, standard_u_k=standard_u_k, limit_k=1.0, acceptance_k=acceptance_k
        )

    simple, guarded = risk(1.0), risk(1.0 - guard)
    assert -1e-9 <= guarded.wrong_acceptance <= simple.wrong_acceptance + 1e-9
    assert simple.wrong_rejection - 1e-9 <= guarded.wrong_rejection <= 1.0
    assert simple.wrong_acceptance + simple.wrong_rejection <= 1.0


@pytest.mark.parametrize(("expanded_u_k", "limit_k"), [(0.0, 1.0), (1.1, 1.0)])
def test_a_root_of_nothing_is_refused(expanded_u_k, limit_k):
    with pytest.raises(ValueError, match="take another rule"):
        rds_guard_band_share(expanded_u_k=expanded_u_k, limit_k=limit_k)


def test_risks_of_nothing_are_refused():
    with pytest.raises(ValueError, match="above zero"):
        joint_risk(item_spread_k=0.0, standard_u_k=1.0, limit_k=1.0, acceptance_k=1.0)
    for share in (0.0, 1.0):
        with pytest.raises(ValueError, match="between 0 and 1"):
            spread_of_items(limit_k=1.0, share_in_tolerance=share)
