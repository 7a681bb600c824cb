import math

import numpy as np
import pytest

from calibration.conformity import DecisionRule
from calibration.curves import load_curve
from calibration.diagnosis import Fault, MeasuredPoints, attribute, points_from_bench, points_from_curve
from calibration.sender_point import judge
from calibration.uncertainty.budget import BudgetLine, Distribution

CURVE = load_curve("ntc-2k5-20c")


def line(quantity, u, sensitivity, unit="K"):
    return BudgetLine(
        quantity=quantity, estimate=0.0, unit=unit, standard_u=u, distribution=Distribution.NORMAL,
        sensitivity=sensitivity,
    )  # fmt: skip


def bench_points(temperatures_c, *, series_ohm=0.0):
    """Plateaus as the bench judges them: certificate 30 mK, clips 30 mΩ, noise 5 mK."""
    points = []
    for temperature_c in temperatures_c:
        ohm = CURVE.resistance_ohm(temperature_c) + series_ohm
        slope = CURVE.sensitivity_k_per_ohm(ohm)
        lines = (
            line("probe: its certificate", 0.03, -1.0, "°C"),
            line("sender: clips", 0.03, slope, "Ω"),
            line("repeatability", 0.005, 1.0),
        )
        points.append(
            judge(
                curve=CURVE,
                temperature_c=temperature_c,
                resistance_ohm=ohm,
                u_resistance_ohm=0.03,
                lines=lines,
                rule=DecisionRule.GUARDED,
                limit_k=2.0,
            )
        )
    return points


def test_one_certificate_stands_behind_all_plateaus_and_noise_does_not():
    measured = points_from_bench(bench_points([30.0, 60.0, 85.0]), CURVE)
    assert measured.temperature_covariance == pytest.approx(
        np.full((3, 3), 0.03**2) + np.diag([0.005**2] * 3), rel=1e-9
    )


def test_clips_add_the_same_ohms_to_every_plateau():
    """0.03 Ω of the resistances in the printed table at 30, 60 and 90 °C: 1707, 596 and 243 Ω."""
    relative = 0.03 / np.array([1707.0, 596.0, 243.0])
    measured = points_from_bench(bench_points([30.0, 60.0, 90.0]), CURVE)
    assert measured.relative_covariance == pytest.approx(np.outer(relative, relative), rel=1e-6)


def test_the_bench_names_14_ohms_that_a_hand_check_cannot(library):
    points = points_from_bench(bench_points([25.0, 45.0, 60.0, 80.0, 95.0], series_ohm=14.0), CURVE)
    answer = attribute(points, CURVE, library=library).answer
    assert answer.fault is Fault.SERIES
    assert answer.size == pytest.approx(14.0, abs=2.0 * answer.size_u)


def test_a_fitted_curve_is_read_at_more_temperatures_than_it_has_coefficients(library):
    """A loop's covariance has the rank of its three coefficients; seven readings must not break on that."""
    at_c = np.linspace(30.0, 90.0, 7)
    shapes = np.stack([np.ones(7), (at_c - 60.0) / 30.0, ((at_c - 60.0) / 30.0) ** 2], axis=1)
    covariance = shapes @ np.diag([0.05**2, 0.03**2, 0.01**2]) @ shapes.T
    ohms = [CURVE.resistance_ohm(t) + 14.0 for t in at_c.tolist()]
    points = points_from_curve(temperature_c=at_c.tolist(), resistance_ohm=ohms, covariance_k2=covariance)
    answer = attribute(points, CURVE, library=library).answer
    assert answer.fault is Fault.SERIES
    assert answer.size == pytest.approx(14.0, abs=2.0 * answer.size_u)


@pytest.mark.parametrize(
    ("ohms", "variance", "words"),
    [([], 1.0, "one temperature"), ([-1.0], 1.0, "not negative"), ([100.0], 0.0, "uncertainty")],
)
def test_points_that_cannot_be_weighed_are_refused(ohms, variance, words):
    count = len(ohms)
    with pytest.raises(ValueError, match=words):
        MeasuredPoints(
            temperature_c=np.full(count, 20.0), resistance_ohm=np.array(ohms),
            temperature_covariance=variance * np.eye(count), relative_covariance=np.zeros((count, count)),
            by_hand=True,
        )  # fmt: skip


def test_a_point_typed_far_surer_than_any_meter_still_gives_a_diagnosis(hand, library):
    rows = [(t, CURVE.resistance_ohm(t)) for t in (20.0, 40.0, 60.0, 80.0, 90.0)]
    diagnosis = attribute(hand(rows, u_k=1e-9, u_percent=1e-9, common=0.0), CURVE, library=library)
    assert math.isclose(sum(finding.weight for finding in diagnosis.findings), 1.0, rel_tol=1e-9)


class TestAcceptanceLimits:
    """Limits that narrow and widen say where a part is accepted, not how it runs between them."""

    ACCEPTING = load_curve("ntc-310-80c")

    def sure(self, hand, rows):
        return hand(rows, u_k=0.05, u_percent=0.03)

    def test_the_2k5_part_is_blamed_for_nothing_where_it_keeps_the_limits(self, hand, library):
        """Its printed rows at 20, 40, 60 and 90 °C keep the limits: 243 Ω is their very edge."""
        rows = [(20, 2500.0), (40, 1175.0), (60, 596.0), (90, 243.0)]
        answer = attribute(self.sure(hand, rows), self.ACCEPTING, library=library).answer
        assert answer.fault in {Fault.HEALTHY, Fault.CANNOT_TELL}

    def test_even_a_bench_cannot_name_14_ohms_inside_such_limits(self, hand, library):
        rows = [(20, 2500.0 + 14.0), (40, 1175.0 + 14.0), (60, 596.0 + 14.0), (90, 243.0 + 14.0)]
        answer = attribute(self.sure(hand, rows), self.ACCEPTING, library=library).answer
        assert answer.fault is Fault.CANNOT_TELL

    def test_a_gross_series_resistance_is_named_all_the_same(self, hand, library):
        rows = [(20, 2500.0 + 200.0), (40, 1175.0 + 200.0), (60, 596.0 + 200.0), (90, 243.0 + 200.0)]
        answer = attribute(self.sure(hand, rows), self.ACCEPTING, library=library).answer
        assert answer.fault is Fault.SERIES
