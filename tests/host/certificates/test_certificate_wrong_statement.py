"""The risk on the paper: how likely a statement is wrong."""

import dataclasses
import math

import pytest

from calibration.conformity import Verdict
from host.certificates.bodies.infrared import CertifiedShots
from host.certificates.certificate import CertifiedPoint
from host.certificates.kind import Kind
from host.certificates.paper_table import decimal_pads
from host.certificates.wrong_statement import probability_text, probability_wrong_of, wrong_statements

# Tail of the normal distribution beyond two standard deviations, from any table of it: 0.02275.
BEYOND_TWO = 0.02275


@pytest.fixture
def point(of_kind) -> CertifiedShots:
    """A point with k = 2 and endless degrees of freedom, judged against ±1 K."""
    shot = of_kind(Kind.HANDHELD_INFRARED).points[0]
    budget = dataclasses.replace(shot.budget, standard_u=0.1, k=2.0, degrees_of_freedom=math.inf)
    return dataclasses.replace(
        shot, error_k=0.0, expanded_u_k=0.2, k=2.0, limit_k=1.0, budget=budget, verdict=Verdict.IN_TOLERANCE
    )


def test_a_statement_made_at_the_edge_of_its_guard_band_is_wrong_once_in_forty_four(point):
    # ILAC-G8:09/2019, w = U: the risk is at most 2.5 % and here the tail beyond k = 2.
    inside = dataclasses.replace(point, error_k=0.8)
    assert probability_wrong_of(inside) == pytest.approx(BEYOND_TWO, abs=5e-6)
    outside = dataclasses.replace(point, error_k=-1.2, verdict=Verdict.OUT_OF_TOLERANCE)
    assert probability_wrong_of(outside) == pytest.approx(BEYOND_TWO, abs=5e-6)


def test_on_the_limit_itself_a_simple_statement_is_wrong_every_other_time(point):
    on_it = dataclasses.replace(point, error_k=1.0)
    assert probability_wrong_of(on_it) == pytest.approx(0.5, abs=1e-9)


def test_where_nothing_is_stated_there_is_no_risk_to_print(point):
    undecided = dataclasses.replace(point, verdict=Verdict.NOT_DECIDED)
    unlimited = dataclasses.replace(point, limit_k=None, verdict=None)
    assert probability_wrong_of(undecided) is None and probability_wrong_of(unlimited) is None
    assert wrong_statements([undecided, point], ["40 °C", "60 °C"]) == (
        ("60 °C", "< 0.1 %", pytest.approx(0.0)),
    )


def test_a_limit_known_on_one_side_only_leaves_the_other_open(sample):
    sender: CertifiedPoint = dataclasses.replace(sample.points[0], limits_k=None, error_k=1.0, limit_k=1.0)
    both = dataclasses.replace(sender, limits_k=(-1.0, 1.0))
    assert probability_wrong_of(sender) == pytest.approx(probability_wrong_of(both), abs=1e-9) == 0.5


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        (0.0, "< 0.1 %"),
        (0.0004, "< 0.1 %"),
        (0.0005, "0.1 %"),
        (0.0228, "2.3 %"),
        (0.0999, "10.0 %"),
        (0.5, "50 %"),
    ],
)
def test_a_probability_is_printed_in_per_cent(wrong, text):
    assert probability_text(wrong) == text


def test_numbers_of_unlike_places_are_filled_up_so_that_their_points_stand_under_each_other():
    assert decimal_pads(("25.000", "60.00", "7", "-0.1")) == ["", "0", ".000", "00"]
    assert decimal_pads(("12", "7")) == ["", ""]
    assert decimal_pads(("", "1.5")) == [".0", ""]
