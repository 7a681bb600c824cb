import datetime
import math
from pathlib import Path

import pytest

from calibration.conformity import DecisionRule, Verdict
from calibration.curves import load_curve
from calibration.diagnosis import Fault
from host.points_file import read_points
from host.typed_certificate import typed_certificate
from host.typed_check import Assumption, check_typed_points

ISSUED = datetime.date(2031, 5, 17)


@pytest.fixture
def check_of(tmp_path):
    def make(rows="20,2500\n60,596\n80,323\n", rule=DecisionRule.GUARDED, **options):
        path: Path = tmp_path / "points.csv"
        path.write_text("temperature_c,resistance_ohm\n" + rows, encoding="utf-8")
        return check_typed_points(read_points(path), curve=load_curve("ntc-310-80c"), rule=rule, **options)

    return make


def test_the_certificate_carries_the_points_as_judged(check_of):
    check = check_of()
    certificate = typed_certificate(check, issued=ISSUED, item="Bench sender 7")
    assert certificate.verdict is check.verdict is Verdict.NOT_DECIDED
    assert not certificate.simulated
    assert certificate.body.curve_source.startswith("as printed in ")
    for certified, point in zip(certificate.points, check.points, strict=True):
        assert certified.error_k == point.error_k
        assert certified.budget is point.budget
        assert certified.limits_k == point.limits_k
        assert [witness.name for witness in certified.witnesses] == ["thermometer", "sender shows"]


def test_the_two_bars_of_a_strip_together_are_the_uncertainty_of_the_error(check_of):
    for certified in typed_certificate(check_of(), issued=ISSUED).points:
        thermometer, sender = certified.witnesses
        assert thermometer.expanded_u_k == pytest.approx(1.2)
        together = math.hypot(thermometer.expanded_u_k, sender.expanded_u_k)
        assert together == pytest.approx(certified.expanded_u_k, rel=1e-9)


def test_what_was_assumed_is_among_the_remarks(check_of):
    remarks = " ".join(typed_certificate(check_of(), issued=ISSUED).remarks)
    assert "typed by hand" in remarks
    assert "0.6 K (assumed, every point)" in remarks
    assert "1 % of R (assumed, every point)" in remarks


def test_why_it_is_off_stands_on_the_certificate_as_an_opinion(check_of):
    """The maker's rows with 104 Ω in series; a good sender gets no opinion."""
    off = typed_certificate(check_of("20,2604\n60,700\n90,347\n", limit_k=2.0), issued=ISSUED)
    assert any(opinion.startswith("Cannot tell") or "series" in opinion for opinion in off.opinions)
    # The middle of the printed limits (tests/calibration/published/senders.toml).
    good = check_of("20,2500\n60,594\n80,310\n", limit_k=5.0)
    assert good.diagnosis.answer.fault is Fault.HEALTHY
    assert typed_certificate(good, issued=ISSUED).opinions == ()


def test_what_could_not_be_read_is_said_in_sentence_and_remarks(check_of):
    certificate = typed_certificate(check_of("20,OL\n60,596\n80,323\n", limit_k=5.0), issued=ISSUED)
    assert [point.temperature_c for point in certificate.points] == [60.0, 80.0]
    assert "could not be read at 20 °C" in certificate.sentence
    assert certificate.verdict is Verdict.NOT_DECIDED
    assert "an open circuit (OL): kept, not judged" in " ".join(certificate.remarks)
    assert any("intermittent" in opinion for opinion in certificate.opinions)


def test_there_is_no_certificate_of_nothing(check_of):
    with pytest.raises(ValueError, match="No certificate without a result"):
        typed_certificate(check_of("20,OL\n60,OL\n"), issued=ISSUED)


def test_the_number_goes_with_the_content(check_of):
    def number(check):
        return typed_certificate(check, issued=ISSUED).number

    first = number(check_of())
    assert first.startswith("OB-T-2031-05-17-")
    assert number(check_of()) == first
    others = {
        number(check_of(rows="20,2500\n60,596\n80,324\n")),
        number(check_of(rule=DecisionRule.SIMPLE)),
        number(check_of(limit_k=2.0)),
        number(check_of(assumption=Assumption(u_temperature_k=0.1))),
    }
    assert len(others | {first}) == 5


def test_three_points_say_that_they_leave_no_chi_squared(check_of):
    certificate = typed_certificate(check_of(), issued=ISSUED)
    assert [one.name for one in certificate.body.coefficients] == ["a", "b", "c"]
    assert all(one.standard_u is None for one in certificate.body.coefficients)
    assert "no chi-squared" in certificate.body.fit_words


def test_the_sentence_rests_on_the_point_that_decides(check_of):
    out = typed_certificate(check_of(rule=DecisionRule.SIMPLE), issued=ISSUED)
    assert out.sentence.startswith("At 80 °C the sender shows 78.7 °C, 1.3 K too low")
    good = typed_certificate(check_of(limit_k=5.0), issued=ISSUED)
    assert good.sentence == "The sender is within its limits at all 3 temperatures that were checked."


def test_a_limit_asked_for_is_printed_as_such(check_of):
    certificate = typed_certificate(check_of(limit_k=5.0), issued=ISSUED)
    assert certificate.body.curve_tolerance.startswith("±5 K, as asked for")
