import math

import numpy as np
import pytest
from scipy.integrate import dblquad

from calibration.curves import load_curve
from calibration.diagnosis import DeadCircuit, DeadPoint, Fault, attribute, dead_points
from calibration.diagnosis.circuit_evidence import dead_log_evidence, intermittent_log_evidence

CURVE = load_curve("ntc-2k5-20c")


def dead(*circuits):
    return dead_points(
        [DeadPoint(temperature_c=20.0 + 20.0 * n, circuit=one) for n, one in enumerate(circuits)],
        by_hand=True,
    )


def test_the_pattern_of_a_contact_is_averaged_over_every_mixture_of_open_short_and_sound():
    """Two open and one short, one after the other: the integral of p² q over the triangle, density 2."""
    points = dead(DeadCircuit.OPEN, DeadCircuit.OPEN, DeadCircuit.SHORT)
    mixture, _ = dblquad(lambda q, p: 2.0 * p * p * q, 0.0, 1.0, 0.0, lambda p: 1.0 - p)
    shown = 0.5**3  # each shows as what it is half of the time
    assert math.exp(intermittent_log_evidence(points, CURVE)) == pytest.approx(mixture * shown, rel=1e-9)


def test_a_reading_of_an_open_circuit_has_all_its_probability_once():
    """Shown as open, or as ohms somewhere from 200 kΩ to 1 TΩ: both together make one."""
    as_open = math.exp(dead_log_evidence(dead(DeadCircuit.OPEN), DeadCircuit.OPEN))
    ohms = np.geomspace(2e5, 1e12, 2001)
    megohm = dead(DeadCircuit.OPEN)
    densities = []
    for ohm in ohms.tolist():
        megohm.resistance_ohm[0] = ohm
        densities.append(math.exp(dead_log_evidence(megohm, DeadCircuit.OPEN)))
    assert as_open + np.trapezoid(densities, np.log(ohms)) == pytest.approx(1.0, rel=1e-6)


def test_what_never_read_is_not_intermittent_and_what_read_is_not_open(hand, library):
    assert intermittent_log_evidence(dead(DeadCircuit.OPEN, DeadCircuit.OPEN), CURVE) == -math.inf
    good = hand([(20, 2500.0), (60, 596.0)])
    assert dead_log_evidence(good, DeadCircuit.OPEN) == -math.inf
    assert intermittent_log_evidence(good, CURVE) == -math.inf


@pytest.mark.parametrize("ohm", [3e6, 4e8, 0.4])
def test_megohms_or_a_bridge_at_one_temperature_are_a_contact_too(hand, library, ohm):
    rows = hand([(20, 2500.0), (60, ohm), (90, 243.0)])
    assert attribute(rows, CURVE, library=library).answer.fault is Fault.INTERMITTENT


def test_a_dead_point_matters_wherever_the_curve_ends(hand, library):
    far = hand([(20, 2500.0), (60, 596.0)]).and_dead(
        [DeadPoint(temperature_c=300.0, circuit=DeadCircuit.OPEN)]
    )
    assert attribute(far, CURVE, library=library).answer.fault is Fault.INTERMITTENT
