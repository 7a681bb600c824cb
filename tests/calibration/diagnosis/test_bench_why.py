import math

import numpy as np
import pytest

from calibration.conformity import DecisionRule
from calibration.curves import load_curve
from calibration.diagnosis import (
    DeadCircuit,
    DeadPoint,
    Fault,
    attribute,
    intermittence,
    opinions_of,
    points_from_bench,
    why_on_the_bench,
    with_burst,
)
from calibration.diagnosis.bench_why import CONTACT_PRIOR
from calibration.sender_point import hand_lines, judge

CURVE = load_curve("ntc-2k5-20c")
SET_POINTS_C = (25.0, 45.0, 60.0, 80.0, 95.0)


def plateaus(series_ohm=0.0):
    """A nominal part on a bench of 0.03 K and 0.03 %, with something in series."""
    judged = []
    for t in SET_POINTS_C:
        ohm = CURVE.resistance_ohm(t) + series_ohm
        lines = hand_lines(
            curve=CURVE,
            temperature_c=t,
            resistance_ohm=ohm,
            u_temperature_k=0.03,
            u_resistance_ohm=3e-4 * ohm,
        )
        judged.append(
            judge(
                curve=CURVE, temperature_c=t, resistance_ohm=ohm, u_resistance_ohm=3e-4 * ohm, lines=lines,
                rule=DecisionRule.GUARDED, limit_k=2.0,
            )
        )  # fmt: skip
    return judged


def burst(*, adds_ohm=0.0, opens=False):
    chance = np.random.default_rng(5)
    ohm = 210.0 * (1.0 + 2e-4 * chance.standard_normal(150))
    ohm[40:60] += adds_ohm
    ohm[100:104] += adds_ohm
    if opens:
        ohm[70:75] = math.inf
    return intermittence(ohm)


def test_without_a_burst_it_is_what_the_plateaus_say(library):
    points = plateaus(20.0)
    assert why_on_the_bench(points, CURVE, library=library) == attribute(
        points_from_bench(points, CURVE), CURVE, library=library
    )


def test_a_contact_that_moves_leads_the_list_and_says_that_the_check_must_be_repeated(library):
    diagnosis = why_on_the_bench(plateaus(), CURVE, library=library, burst=burst(opens=True))
    assert diagnosis.answer.fault is Fault.INTERMITTENT
    assert sum(finding.weight for finding in diagnosis.findings) == pytest.approx(1.0)
    words = " ".join(opinions_of(diagnosis, CURVE))
    assert "seen while the connector was moved" in words and "run the check again" in words


def test_a_steady_contact_leaves_a_series_resistance_what_it_is(library):
    without = why_on_the_bench(plateaus(20.0), CURVE, library=library)
    steady = why_on_the_bench(plateaus(20.0), CURVE, library=library, burst=burst())
    assert steady.answer.fault is without.answer.fault is Fault.SERIES
    assert steady.weight_of(Fault.INTERMITTENT) < CONTACT_PRIOR


def test_the_burst_moves_the_contact_as_bayes_rule_says(library):
    """From a prior of 8 %, with the odds that the burst found from even ones (Jaynes 2003, equation 4.8)."""
    seen = burst(adds_ohm=0.9)
    diagnosis = with_burst(why_on_the_bench(plateaus(), CURVE, library=library), seen)
    odds = CONTACT_PRIOR / (1.0 - CONTACT_PRIOR) * seen.weight / (1.0 - seen.weight)
    probability = {finding.fault: finding.probability for finding in diagnosis.findings}
    assert probability[Fault.INTERMITTENT] == pytest.approx(odds / (1.0 + odds), rel=1e-6)


@pytest.mark.parametrize("circuit", list(DeadCircuit))
def test_a_run_that_could_not_read_the_sender_has_a_reason(circuit):
    dead = [DeadPoint(temperature_c=25.0, circuit=circuit)]
    assert why_on_the_bench([], CURVE, dead=dead).answer.fault.value == circuit.value


def test_a_circuit_that_reads_at_some_set_points_alone_is_intermittent(library):
    dead = [DeadPoint(temperature_c=95.0, circuit=DeadCircuit.OPEN)]
    diagnosis = why_on_the_bench(plateaus()[:4], CURVE, library=library, dead=dead)
    assert diagnosis.answer.fault is Fault.INTERMITTENT


def test_a_burst_that_is_open_throughout_after_plateaus_that_read_is_a_contact(library):
    gone = intermittence([math.inf] * 50)
    assert why_on_the_bench(plateaus(), CURVE, library=library, burst=gone).answer.fault is Fault.INTERMITTENT


def test_nothing_to_explain_is_refused():
    with pytest.raises(ValueError, match="one temperature"):
        why_on_the_bench([], CURVE)
