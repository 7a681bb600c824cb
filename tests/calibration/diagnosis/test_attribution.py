import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.curves import curve_from_toml, load_curve
from calibration.diagnosis import Fault, MeasuredPoints, attribute, points_by_hand
from calibration.diagnosis.attribution import posterior
from calibration.diagnosis.diagnosis import NAMED_FROM, OWN_ERROR_AT_MOST, weight_of_doubt
from calibration.errors import CurveRangeError
from calibration.temperature_scale import celsius_from_fahrenheit
from calibration.thermistor.fit_point import FitPoint

PUBLISHED = Path(__file__).parents[1] / "published"
NTC_10K = tomllib.loads((PUBLISHED / "ntc_10k.toml").read_text("utf-8"))
EPCOS = tomllib.loads((PUBLISHED / "epcos_rt8016_rt8018.toml").read_text("utf-8"))
NTC_2K5 = dict(tomllib.loads((PUBLISHED / "ntc_2k5.toml").read_text("utf-8"))["rows"])
SENDERS = tomllib.loads((PUBLISHED / "senders.toml").read_text("utf-8"))
CURVE = load_curve("ntc-2k5-20c")
AT_25_OHM = CURVE.resistance_ohm(25.0)
HAND_C = (20.0, 60.0, 90.0)


def spoiled(temperature_c, *, r25=0.0, beta=0.0, series_ohm=0.0, leakage_ohm=math.inf):
    """Resistance of a nominal part with one fault, worked out here and not by the diagnosis."""
    nominal_ohm = CURVE.resistance_ohm(temperature_c)
    element_ohm = nominal_ohm * (1.0 + r25) * (nominal_ohm / AT_25_OHM) ** beta
    return 1.0 / (1.0 / element_ohm + 1.0 / leakage_ohm) + series_ohm


def rows_of(**fault):
    return [(t, spoiled(t, **fault)) for t in HAND_C]


class TestPublishedParts:
    """What the makers' own tables say must come out as what they are."""

    def rows(self, table, temperatures_c):
        printed = dict(NTC_10K["tables"][table])
        return [(t, printed[t]) for t in temperatures_c]

    def test_the_2k5_part_is_good_against_its_own_curve(self, hand, library):
        points = hand([(t, NTC_2K5[t]) for t in (20, 60, 90)])
        assert attribute(points, CURVE, library=library).answer.fault is Fault.HEALTHY

    def test_a_10k3_part_is_good_against_the_curve_of_its_class(self, hand, library):
        """10K3 and the 3977 K part are of two makers and one class: 10 kΩ, beta 3977 K."""
        diagnosis = attribute(
            hand(self.rows("10K3", (-40, -25, -11))), load_curve("ntc-10k-25c-b3977"), library=library
        )
        assert diagnosis.answer.fault is Fault.HEALTHY

    @pytest.mark.parametrize("ratios", ["ratio_8016", "ratio_8018"])
    def test_a_third_maker_s_10k_part_of_that_class_is_good_too(self, hand, library, ratios):
        printed = dict(EPCOS[ratios])
        rows = [(t, 10_000.0 * printed[t]) for t in (0, 50, 100)]
        answer = attribute(hand(rows), load_curve("ntc-10k-25c-b3977"), library=library).answer
        assert answer.fault is Fault.HEALTHY

    def test_a_44006_part_is_told_from_the_3977_curve_where_the_points_are_sure(self, hand, library):
        """Its beta is 9 % lower: by hand that is an aged element or another curve; surer points decide."""
        rows = self.rows("44006 and 44031", (-20, 0, 25, 55))
        curve = load_curve("ntc-10k-25c-b3977")
        by_hand = attribute(hand(rows), curve, library=library)
        assert by_hand.answer.fault is Fault.CANNOT_TELL
        likely = sorted(by_hand.findings, key=lambda finding: -finding.probability)[:2]
        assert {finding.fault for finding in likely} == {Fault.BETA, Fault.ANOTHER_CURVE}
        answer = attribute(hand(rows, u_k=0.05, u_percent=0.05), curve, library=library).answer
        assert (answer.fault, answer.variant) == (Fault.ANOTHER_CURVE, "ntc-10k-25c")

    @pytest.mark.parametrize("name", ["ntc-15k-25c", "ntc-3k55-20c"])
    def test_a_real_part_of_another_curve_is_recognised_as_such(self, hand, library, name):
        printed = {t: nominal for t, _, nominal, _ in SENDERS[name]["rows"]}
        rows = [(t, printed[t]) for t in (20, 100)]
        answer = attribute(hand(rows), CURVE, library=library).answer
        assert (answer.fault, answer.variant) == (Fault.ANOTHER_CURVE, name)

    def test_a_gauge_sender_against_a_controller_s_curve_is_recognised(self, hand, library):
        printed = {t: nominal for t, _, nominal, _ in SENDERS["ntc-160-60c"]["rows"]}
        curve = load_curve("ntc-290-110c")
        answer = attribute(hand([(t, printed[t]) for t in (60, 77, 88)]), curve, library=library).answer
        assert (answer.fault, answer.variant) == (Fault.ANOTHER_CURVE, "ntc-160-60c")

    @pytest.mark.parametrize("name", ["ntc-310-80c", "ntc-248-90c", "ntc-15k-25c"])
    def test_a_part_in_the_middle_of_its_printed_limits_is_good(self, hand, library, name):
        rows = [(t, n or (a + b) / 2) for t, a, n, b in SENDERS[name]["rows"] if 0 <= t <= 95]
        assert attribute(hand(rows), load_curve(name), library=library).answer.fault is Fault.HEALTHY


class TestNoiseFreeFaults:
    @pytest.mark.parametrize(
        ("fault", "planted", "size"),
        [
            (Fault.SERIES, {"series_ohm": 104.0}, 104.0),
            (Fault.LEAKAGE, {"leakage_ohm": 12e3}, 12e3),
            (Fault.R25, {"r25": 0.4}, 40.0),
            (Fault.R25, {"r25": -0.3}, -30.0),
            (Fault.BETA, {"beta": 0.068}, 6.8),
            (Fault.BETA, {"beta": -0.15}, -15.0),
        ],
    )
    def test_a_gross_fault_is_named_by_hand_with_its_size(self, hand, library, fault, planted, size):
        answer = attribute(hand(rows_of(**planted)), CURVE, library=library).answer
        assert answer.fault is fault
        assert abs(answer.size - size) < 2.0 * answer.size_u
        assert answer.next_action

    def test_fourteen_ohms_in_series_look_like_beta_by_hand_and_that_is_said(self, hand, library):
        diagnosis = attribute(hand(rows_of(series_ohm=14.0)), CURVE, library=library)
        assert diagnosis.answer.fault is Fault.CANNOT_TELL
        probabilities = {finding.fault: finding.probability for finding in diagnosis.findings}
        assert probabilities[Fault.SERIES] == pytest.approx(probabilities[Fault.BETA], rel=0.4)

    def test_twenty_six_ohms_by_hand_are_series_or_beta_and_the_next_action_tells_them_apart(
        self, hand, library
    ):
        answer = attribute(hand(rows_of(series_ohm=26.0)), CURVE, library=library).answer
        assert answer.fault is Fault.CANNOT_TELL
        assert "a series resistance goes, an aged element stays" in answer.next_action

    def test_points_that_follow_no_thermistor_are_not_explained(self, hand, library):
        diagnosis = attribute(hand([(20, 2500), (60, 3000), (90, 243)]), CURVE, library=library)
        assert diagnosis.answer.fault is Fault.CANNOT_TELL
        likeliest = max(diagnosis.findings, key=lambda finding: finding.probability)
        assert likeliest.fault is Fault.NONE_OF_THESE

    def test_open_and_short_circuits_are_named(self, hand, library):
        dead = hand([(20, 3e6), (60, 8e6), (90, 4e6)])
        assert attribute(dead, CURVE, library=library).answer.fault is Fault.OPEN
        no_reading = MeasuredPoints(
            temperature_c=np.array(HAND_C),
            resistance_ohm=np.full(3, math.inf),
            temperature_covariance=0.36 * np.eye(3),
            relative_covariance=np.zeros((3, 3)),
            by_hand=True,
        )
        assert attribute(no_reading, CURVE, library=library).answer.fault is Fault.OPEN
        bridged = hand([(20, 0.4), (60, 0.3), (90, 0.4)])
        assert attribute(bridged, CURVE, library=library).answer.fault is Fault.SHORT

    def test_a_temperature_the_curve_does_not_cover_is_refused(self, hand):
        with pytest.raises(CurveRangeError, match="140"):
            attribute(hand([(140, 80)]), CURVE)


class TestBayesRule:
    def test_two_explanations_of_one_point_are_weighed_as_by_hand(self, hand, library):
        """A good part against a 15 kΩ one, from one point at 25 °C, with the normal distribution written out.

        Good parts lie within ±5 % of R25, all alike: at 25 °C the likelihood is the mean of a normal density
        over that interval, a difference of two values of the error function over its width.
        """
        reading_ohm = 8000.0
        points = hand([(25.0, reading_ohm)], u_k=2.0, u_percent=30.0)
        slope = {"ntc-10k-25c": 3575.0, "ntc-15k-25c": 3740.0}  # beta near 25 °C, from rows at 20 and 30 °C
        rows = {"ntc-10k-25c": (12260.0, 10000.0, 8194.0), "ntc-15k-25c": (18732.0, 15000.0, 12012.0)}
        likelihood = {}
        for name, (at_20, at_25, at_30) in rows.items():
            slope[name] = math.log(at_20 / at_30) / 10.0
            u = math.hypot(0.3, slope[name] * 2.0)
            distance = math.log(reading_ohm / at_25)
            edges = [(distance + 0.05) / u / math.sqrt(2.0), (distance - 0.05) / u / math.sqrt(2.0)]
            likelihood[name] = (math.erf(edges[0]) - math.erf(edges[1])) / (2.0 * 0.10)
        good, other = 0.5 * likelihood["ntc-10k-25c"], 0.25 * likelihood["ntc-15k-25c"]
        diagnosis = attribute(
            points,
            load_curve("ntc-10k-25c"),
            library=[load_curve("ntc-15k-25c")],
            priors={Fault.HEALTHY: 0.5, Fault.ANOTHER_CURVE: 0.25},
        )
        probabilities = {finding.fault: finding.probability for finding in diagnosis.findings}
        assert probabilities[Fault.HEALTHY] == pytest.approx(good / (good + other), abs=0.003)

    def test_a_textbook_case(self):
        """Prior 1 to 99, likelihoods 0.99 and 0.05: 0.99/(0.99 + 99 x 0.05) = 1/6."""
        found = posterior([math.log(0.99), math.log(0.05)], [0.01, 0.99])
        assert found == pytest.approx((1.0 / 6.0, 5.0 / 6.0), rel=1e-12)

    def test_explanations_that_allow_nothing_are_refused(self):
        with pytest.raises(ValueError, match="mistyped"):
            posterior([-math.inf, -math.inf], [0.5, 0.5])


class TestCannotTell:
    def test_it_weighs_nothing_where_an_explanation_is_named(self):
        assert weight_of_doubt({Fault.SERIES: NAMED_FROM, Fault.BETA: 1.0 - NAMED_FROM}) == 0.0

    def test_it_leads_wherever_nothing_is_named(self):
        for largest in np.linspace(0.34, NAMED_FROM - 1e-6, 40):
            rest = 1.0 - largest
            doubt = weight_of_doubt({Fault.SERIES: largest, Fault.BETA: 0.6 * rest, Fault.R25: 0.4 * rest})
            assert doubt > (1.0 - doubt) * largest

    def test_the_element_is_not_blamed_while_its_temperature_may_have_been_wrong(self):
        own = 2.0 * OWN_ERROR_AT_MOST[Fault.R25]
        blamed = {Fault.R25: 1.0 - own, Fault.STEM_OR_THERMOMETER: own}
        assert weight_of_doubt(blamed) == pytest.approx(2.0 / 3.0)
        # A good sender may be called good all the same.
        assert weight_of_doubt({Fault.HEALTHY: 1.0 - own, Fault.STEM_OR_THERMOMETER: own}) == 0.0


temperatures = st.lists(
    st.integers(-30, 120), min_size=1, max_size=5, unique=True
)  # whole degrees, so that a round trip through °F cannot move a point off the curve's end
deviations = st.lists(st.floats(-0.4, 0.4), min_size=5, max_size=5)


def drawn_points(temperatures_c, deviation):
    return [
        FitPoint(
            temperature_c=float(t),
            resistance_ohm=CURVE.resistance_ohm(float(t)) * math.exp(d),
            u_temperature_k=0.6,
            u_resistance_ohm=0.01 * CURVE.resistance_ohm(float(t)),
        )
        for t, d in zip(temperatures_c, deviation, strict=False)
    ]


@settings(max_examples=25, deadline=None)
@given(temperatures, deviations, st.randoms(use_true_random=False))
def test_weights_sum_to_one_and_do_not_depend_on_the_order_of_the_points(temps, deviation, shuffler):
    points = drawn_points(temps, deviation)
    shuffled = list(points)
    shuffler.shuffle(shuffled)
    one, other = (attribute(points_by_hand(some), CURVE) for some in (points, shuffled))
    assert sum(finding.weight for finding in one.findings) == pytest.approx(1.0, abs=1e-12)
    assert all(finding.weight >= 0.0 for finding in one.findings)
    assert one.answer.fault is other.answer.fault or one.answer.weight == pytest.approx(0.5, abs=1e-6)
    for fault in Fault:
        assert one.weight_of(fault) == pytest.approx(other.weight_of(fault), abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(temperatures, deviations)
def test_fahrenheit_changes_nothing(temps, deviation):
    points = drawn_points(temps, deviation)
    from_fahrenheit = [
        FitPoint(
            temperature_c=celsius_from_fahrenheit(point.temperature_c * 1.8 + 32.0),
            resistance_ohm=point.resistance_ohm,
            u_temperature_k=point.u_temperature_k,
            u_resistance_ohm=point.u_resistance_ohm,
        )
        for point in points
    ]
    one, other = (attribute(points_by_hand(some), CURVE) for some in (points, from_fahrenheit))
    for fault in Fault:
        assert one.weight_of(fault) == pytest.approx(other.weight_of(fault), abs=1e-6)


def scaled_curve(factor):
    rows = "".join(f"{{temperature_c = {t}, resistance_ohm = {r * factor!r}}},\n" for t, r in NTC_2K5.items())
    return curve_from_toml(
        'title = "x"\nsource = "scaled"\ntolerance = "unknown"\nwiring = "unknown"\n'
        f'allowed_current_ma = "unknown"\nrows = [\n{rows}]\n',
        name=f"scaled-{factor}",
    )


@pytest.mark.parametrize("fault", [{"r25": 0.15}, {"beta": 0.05}, {}])
def test_a_part_of_a_hundredfold_resistance_gets_the_same_diagnosis_of_its_element(hand, fault):
    """R25, beta and the temperature are relative: only ohms in series and beside know the scale."""
    relative = {f: 1.0 for f in (Fault.HEALTHY, Fault.R25, Fault.BETA, Fault.STEM_OR_THERMOMETER)}
    rows = rows_of(**fault)
    one = attribute(hand(rows), CURVE, priors=relative)
    other = attribute(hand([(t, 100.0 * r) for t, r in rows]), scaled_curve(100.0), priors=relative)
    for name in relative:
        assert one.weight_of(name) == pytest.approx(other.weight_of(name), abs=1e-6)


@pytest.mark.parametrize(
    ("fault", "planted"),
    [
        (Fault.SERIES, [{"series_ohm": s} for s in np.geomspace(5.0, 800.0, 12)]),
        (Fault.LEAKAGE, [{"leakage_ohm": s} for s in np.geomspace(200e3, 3e3, 12)]),
        (Fault.R25, [{"r25": s} for s in np.geomspace(0.02, 0.6, 12)]),
        (Fault.R25, [{"r25": -s} for s in np.geomspace(0.02, 0.5, 12)]),
        (Fault.BETA, [{"beta": s} for s in np.geomspace(0.005, 0.15, 12)]),
        (Fault.BETA, [{"beta": -s} for s in np.geomspace(0.005, 0.15, 12)]),
    ],
    ids=["series", "leakage", "R25 high", "R25 low", "beta steeper", "beta flatter"],
)
def test_a_larger_fault_never_weighs_less_for_itself(hand, fault, planted):
    weights = [attribute(hand(rows_of(**size)), CURVE).weight_of(fault) for size in planted]
    # A sharper peak under a prior over many sizes costs a little evidence once all else is ruled out.
    assert all(after >= before - 0.005 for before, after in zip(weights, weights[1:], strict=False))
    assert weights[0] < 0.1 and weights[-1] > 0.95


def test_a_surer_measurement_names_what_a_hand_check_cannot(hand, library):
    rows = rows_of(series_ohm=14.0)
    sure = attribute(hand(rows, u_k=0.05, u_percent=0.03), CURVE, library=library).answer
    assert sure.fault is Fault.SERIES
    assert sure.size == pytest.approx(14.0, abs=2.0)
