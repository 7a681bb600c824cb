import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calibration.conformity import DecisionRule, Verdict, decide
from calibration.curves import CurveError, curve_from_toml, curve_names, load_curve
from calibration.errors import CurveRangeError
from calibration.sender_point import hand_lines, judge

PUBLISHED = Path(__file__).parent / "published"
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
LIMITS_310 = {t: (least, largest) for t, least, _, largest in SENDERS["ntc-310-80c"]["rows"]}
SIMPLE, GUARDED = DecisionRule.SIMPLE, DecisionRule.GUARDED
WITH_LIMITS = [name for name in curve_names() if load_curve(name).has_tolerance]


def judged(curve, temperature_c, resistance_ohm, *, rule=SIMPLE, limit_k=None, u_k=0.6, u_part=0.01):
    lines = hand_lines(
        curve=curve,
        temperature_c=temperature_c,
        resistance_ohm=resistance_ohm,
        u_temperature_k=u_k,
        u_resistance_ohm=u_part * resistance_ohm,
    )
    return judge(
        curve=curve,
        temperature_c=temperature_c,
        resistance_ohm=resistance_ohm,
        u_resistance_ohm=u_part * resistance_ohm,
        lines=lines,
        rule=rule,
        limit_k=limit_k,
    )


@pytest.mark.parametrize("temperature_c", LIMITS_310)
def test_one_makers_part_is_judged_in_kelvin_as_anothers_printed_ohms_do(temperature_c):
    least, largest = LIMITS_310[temperature_c]
    resistance_ohm = NTC_2K5[temperature_c]
    point = judged(load_curve("ntc-310-80c"), temperature_c, resistance_ohm)
    assert (point.verdict is Verdict.IN_TOLERANCE) is (least <= resistance_ohm <= largest)


def test_at_80_degrees_the_part_is_one_ohm_beyond_the_printed_limit():
    # printed: 298 to 322 Ω; the part has 323 Ω
    point = judged(load_curve("ntc-310-80c"), 80.0, 323.0)
    assert point.verdict is Verdict.OUT_OF_TOLERANCE
    assert point.error_k < 0.0  # more resistance is colder
    assert judged(load_curve("ntc-310-80c"), 80.0, 323.0, rule=GUARDED).verdict is Verdict.NOT_DECIDED


def test_at_90_degrees_the_part_lies_on_the_printed_limit_and_is_in():
    # printed: 219 to 243 Ω; the part has 243 Ω
    point = judged(load_curve("ntc-310-80c"), 90.0, 243.0)
    assert point.verdict is Verdict.IN_TOLERANCE
    assert abs(point.error_k) == point.limit_k


def test_the_error_between_two_rows_is_near_that_of_the_beta_curve_by_hand():
    # 323 Ω between the middles 594 Ω at 60 °C and 310 Ω at 80 °C: ln R over 1/T is nearly straight.
    beta_k = math.log(594 / 310) / (1 / 333.15 - 1 / 353.15)
    by_hand_c = 1 / (1 / 353.15 + math.log(323 / 310) / beta_k) - 273.15
    point = judged(load_curve("ntc-310-80c"), 80.0, 323.0)
    assert point.indicated_c == pytest.approx(by_hand_c, abs=0.1)
    assert point.error_k == point.indicated_c - 80.0
    assert point.deviation_percent == pytest.approx(100 * 13 / 310, rel=1e-9)


@pytest.mark.parametrize("name", WITH_LIMITS)
@given(row=st.integers(0, 30), place=st.floats(-1.0, 2.0))
def test_kelvin_and_printed_ohms_agree_at_every_printed_temperature(name, row, place):
    curve = load_curve(name)
    printed = curve.rows[row % len(curve.rows)]
    span = printed.max_ohm - printed.min_ohm
    resistance_ohm = printed.min_ohm + place * span
    near_an_edge = min(abs(resistance_ohm - edge) for edge in (printed.min_ohm, printed.max_ohm))
    assume(resistance_ohm > 0.2 * printed.resistance_ohm and near_an_edge > 1e-9 * printed.resistance_ohm)
    point = judged(curve, printed.temperature_c, resistance_ohm)
    within = printed.min_ohm <= resistance_ohm <= printed.max_ohm
    assert (point.verdict is Verdict.IN_TOLERANCE) is within


@pytest.mark.parametrize("name", WITH_LIMITS)
def test_the_printed_limits_themselves_are_in(name):
    curve = load_curve(name)
    for row in curve.rows:
        assert judged(curve, row.temperature_c, row.min_ohm).verdict is Verdict.IN_TOLERANCE
        assert judged(curve, row.temperature_c, row.max_ohm).verdict is Verdict.IN_TOLERANCE
        assert curve.limits_ohm(row.temperature_c) == (row.min_ohm, row.max_ohm)


@pytest.mark.parametrize("name", ["ntc-310-80c", "ntc-248-90c", "ntc-15k-25c"])
@given(share=st.floats(0.0, 1.0), place=st.floats(-0.5, 1.5))
def test_kelvin_and_ohms_agree_between_the_rows_too(name, share, place):
    curve = load_curve(name)
    temperature_c = curve.valid_from_c + share * (curve.valid_to_c - curve.valid_from_c)
    least, largest = curve.limits_ohm(temperature_c)
    assert 0.0 < least < curve.resistance_ohm(temperature_c) < largest
    resistance_ohm = least + place * (largest - least)
    assume(min(abs(resistance_ohm - least), abs(resistance_ohm - largest)) > 1e-6 * largest)
    point = judged(curve, temperature_c, resistance_ohm)
    assert (point.verdict is Verdict.IN_TOLERANCE) is (least <= resistance_ohm <= largest)


@given(temperature_f=st.integers(-22, 194), place=st.floats(0.5, 1.5))
def test_fahrenheit_and_celsius_give_the_same_verdict(temperature_f, place):
    curve = load_curve("ntc-310-80c")
    exact_c, other_c = (temperature_f - 32) * 5 / 9, temperature_f / 1.8 - 32 / 1.8
    resistance_ohm = place * curve.resistance_ohm(exact_c)
    one, other = (judged(curve, t, resistance_ohm, rule=GUARDED) for t in (exact_c, other_c))
    if abs(abs(one.error_k) + one.expanded_u_k - one.limit_k) > 1e-6:
        assert one.verdict is other.verdict
    assert one.error_k == pytest.approx(other.error_k, abs=1e-6)


def test_the_hand_budget_is_the_thermometer_and_the_meter():
    curve = load_curve("ntc-2k5-20c")
    point = judged(curve, 80.0, 323.0, limit_k=2.0)
    slope = curve.sensitivity_k_per_ohm(323.0)
    assert point.budget.standard_u == pytest.approx(math.hypot(0.6, slope * 3.23), rel=1e-9)
    assert point.k == 2.0
    assert point.expanded_u_k == pytest.approx(2.0 * point.budget.standard_u)
    assert [line.quantity for line in point.budget.lines] == ["thermometer", "resistance meter"]
    assert point.budget.lines[0].sensitivity == -1.0
    assert point.error_k == 0.0


def test_between_printed_rows_the_curve_has_a_line_of_its_own():
    curve = load_curve("ntc-310-80c")
    point = judged(curve, 50.0, curve.resistance_ohm(50.0))
    assert point.budget.lines[-1].quantity == "curve between printed rows"
    assert point.budget.lines[-1].standard_u == pytest.approx(curve.doubt_k(50.0, 0.0) / math.sqrt(3))
    assert point.error_k == pytest.approx(0.0, abs=1e-9)


def test_a_limit_of_ones_own_takes_the_place_of_the_tolerance():
    point = judged(load_curve("ntc-310-80c"), 80.0, 323.0, limit_k=5.0, rule=GUARDED)
    assert point.limit_k == 5.0
    assert point.limits_k == (-5.0, 5.0)
    assert point.verdict is Verdict.IN_TOLERANCE


def test_a_curve_without_tolerance_asks_for_a_limit():
    with pytest.raises(CurveError, match="give the limit yourself"):
        judged(load_curve("ntc-2k5-20c"), 80.0, 323.0)


def test_outside_the_curve_nothing_is_judged():
    with pytest.raises(CurveRangeError, match="-30 to 90 °C") as refusal:
        judged(load_curve("ntc-310-80c"), 95.0, 200.0)
    assert refusal.value.unit == "°C"


def test_a_sender_beyond_the_printed_ohms_is_out_and_the_way_is_said():
    # 150 Ω is less than any printed limit: hotter than the curve goes.
    point = judged(load_curve("ntc-310-80c"), 90.0, 150.0, rule=GUARDED)
    assert point.verdict is Verdict.OUT_OF_TOLERANCE
    assert point.indicated_c > 100.0
    assert "beyond the printed curve" in point.remarks[0]


@pytest.mark.parametrize(("resistance_ohm", "words"), [(0.3, "short circuit"), (5e7, "open circuit")])
@pytest.mark.parametrize("name", ["ntc-310-80c", "ntc-318-80c", "ntc-10k-25c-b3977"])
def test_open_and_short_are_named_and_give_no_temperature(name, resistance_ohm, words):
    curve = load_curve(name)
    with pytest.raises(CurveRangeError, match=words):
        judged(curve, 20.0 if curve.judges_only_printed_rows else 50.0, resistance_ohm, limit_k=2.0)


class TestTwoRows:
    """A curve of two rows, printed at 20 and 80 °C: 2320 to 2590 Ω and 310 to 326 Ω."""

    curve = load_curve("ntc-318-80c")

    @pytest.mark.parametrize("resistance_ohm", [309.9, 310.0, 318.0, 326.0, 326.1])
    def test_it_judges_at_a_printed_temperature(self, resistance_ohm):
        point = judged(self.curve, 80.0, resistance_ohm)
        assert (point.verdict is Verdict.IN_TOLERANCE) is (310.0 <= resistance_ohm <= 326.0)
        assert "2 rows" in point.remarks[0]

    @pytest.mark.parametrize("temperature_c", [50.0, 79.4, 80.6, 90.0, 19.4])
    def test_it_does_not_judge_elsewhere(self, temperature_c):
        with pytest.raises(CurveRangeError, match="Measure within 0.5 K of 20, 80 °C"):
            judged(self.curve, temperature_c, 500.0)

    def test_half_a_kelvin_beside_a_row_is_carried_along_the_slope(self):
        # beta of the two middles, 2455 Ω and 318 Ω
        beta_k = math.log(2455 / 318) / (1 / 293.15 - 1 / 353.15)
        for temperature_c in (79.5, 80.3, 80.5):
            moved = math.exp(beta_k * (1 / (temperature_c + 273.15) - 1 / 353.15))
            least, largest = self.curve.limits_ohm(temperature_c)
            assert (least, largest) == pytest.approx((310 * moved, 326 * moved), rel=1e-12)
            point = judged(self.curve, temperature_c, 318.0 * moved)
            assert point.error_k == pytest.approx(0.0, abs=1e-9)
            assert point.budget.lines[-1].quantity == "slope at the printed row"

    def test_the_doubt_of_the_slope_grows_with_the_way_along_it(self):
        beside = judged(self.curve, 80.0, 318.0)
        far = judged(self.curve, 80.0, 500.0)
        assert len(beside.budget.lines) == 2
        assert far.budget.lines[-1].standard_u > 0.2

    def test_the_slope_of_the_18_row_part_lies_within_the_doubt(self):
        """Two rows taken from a full published table, against the full table."""
        full = load_curve("ntc-2k5-20c")
        for low_c, high_c in ((20, 80), (20, 100), (-40, 130)):
            two = two_rows_of(full, low_c, high_c)
            for row_c in (low_c, high_c):
                true_slope_k = full.nominal.local_beta_k(row_c)
                slope_off = two.nominal.local_beta_k(row_c) / true_slope_k - 1
                assert abs(slope_off) <= two.doubt_k(row_c, 1.0)


def two_rows_of(full, low_c, high_c):
    rows = ", ".join(
        f"{{ temperature_c = {t}, resistance_ohm = {full.resistance_ohm(t)} }}" for t in (low_c, high_c)
    )
    return curve_from_toml(
        'title = "two rows"\nsource = "two rows of a published table"\ntolerance = "unknown"\n'
        f'wiring = "unknown"\nallowed_current_ma = "unknown"\nrows = [{rows}]\n',
        name="two",
    )


LOPSIDED = curve_from_toml(
    """
title = "Limits far apart on one side"
source = "invented for this test"
tolerance = "as printed"
wiring = "unknown"
allowed_current_ma = "unknown"
rows = [
  { temperature_c = 20, min_ohm = 1500, resistance_ohm = 2500, max_ohm = 2550 },
  { temperature_c = 50, min_ohm = 500, resistance_ohm = 834, max_ohm = 850 },
  { temperature_c = 80, min_ohm = 200, resistance_ohm = 323, max_ohm = 330 },
  { temperature_c = 110, min_ohm = 90, resistance_ohm = 144, max_ohm = 147 },
]
""",
    name="lopsided",
)


def test_an_uncertainty_that_reaches_past_the_other_limit_decides_nothing():
    """Error a little high, limit far away there, and close on the low side."""
    resistance_ohm = 323.0 * 0.997
    point = judged(LOPSIDED, 80.0, resistance_ohm, rule=GUARDED)
    assert point.error_k > 0.0
    assert point.expanded_u_k + point.error_k < point.limit_k
    assert point.error_k - point.expanded_u_k < point.limits_k[0]
    assert point.verdict is Verdict.NOT_DECIDED
    surer = judged(LOPSIDED, 80.0, resistance_ohm, rule=GUARDED, u_k=0.1, u_part=0.001)
    assert surer.verdict is Verdict.IN_TOLERANCE


@given(place=st.floats(0.7, 1.4), u_k=st.floats(0.01, 3.0))
def test_no_guarded_verdict_goes_beyond_what_one_limit_alone_would_say(place, u_k):
    curve = load_curve("ntc-310-80c")
    point = judged(curve, 60.0, place * 594.0, rule=GUARDED, u_k=u_k)
    alone = decide(
        error_k=point.error_k, expanded_u_k=point.expanded_u_k, limit_k=point.limit_k, rule=GUARDED
    )
    assert point.verdict in (alone, Verdict.NOT_DECIDED)
    if point.verdict is not Verdict.NOT_DECIDED:
        assert point.probability_wrong < 0.05


def test_the_chance_of_being_wrong_goes_with_the_verdict():
    inside = judged(load_curve("ntc-310-80c"), 80.0, 310.0, u_k=0.1, u_part=0.001)
    assert inside.probability_within == pytest.approx(1.0, abs=1e-6)
    assert inside.probability_wrong == pytest.approx(0.0, abs=1e-6)
    edge = judged(load_curve("ntc-310-80c"), 90.0, 243.0, u_k=0.1, u_part=0.001)
    assert edge.probability_wrong == pytest.approx(0.5, abs=1e-6)
