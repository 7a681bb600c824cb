import math

import numpy as np
import pytest

from calibration.curves import load_curve
from calibration.diagnosis import Fault
from calibration.diagnosis.curve_view import view_of
from calibration.diagnosis.fault_shapes import AIR_MOVES_K, branches_of

CURVE = load_curve("ntc-2k5-20c")
AIR_C = 22.0


def test_moving_air_moves_a_stem_also_where_the_bath_is_as_warm_as_the_air():
    """A stem of 2 % in air that is 2 K off is 0.04 K off, by the curve's own slope in ln R."""
    view = view_of(CURVE, np.array([AIR_C, 90.0]))
    (stem,) = [branch for branch in branches_of(Fault.STEM_OR_THERMOMETER, AIR_C) if branch.variant == "stem"]
    sizes = np.array([0.02])
    shift, _ = stem.effect(view, sizes)
    uneven = stem.uneven(view, sizes, shift)[0]
    at_air, a_little_warmer = (math.log(CURVE.resistance_ohm(AIR_C + k)) for k in (0.0, 0.02 * AIR_MOVES_K))
    assert shift[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert uneven[0] == pytest.approx(at_air - a_little_warmer, rel=0.02)
    assert uneven[1] > uneven[0] / 2.0
