import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.curves import curve_names, load_curve
from calibration.diagnosis.curve_view import coincide, view_of
from calibration.diagnosis.healthy_spread import healthy_spread

SENDERS = tomllib.loads((Path(__file__).parents[1] / "published" / "senders.toml").read_text("utf-8"))


def test_a_curve_without_limits_spreads_by_5_percent_and_1_percent():
    spread = healthy_spread(load_curve("ntc-2k5-20c"))
    assert not spread.printed
    assert (spread.r25_half_width, spread.beta_half_width) == pytest.approx((0.05, 0.01))
    # A rectangle of half-width a has the variance a²/3 (JCGM 100:2008, 4.3.7).
    assert np.sqrt(np.diag(spread.covariance)) == pytest.approx(
        [0.05 / math.sqrt(3.0), 0.01 / math.sqrt(3.0)], rel=1e-3
    )


@pytest.mark.parametrize("name", [n for n in curve_names() if load_curve(n).has_tolerance])
def test_every_good_part_keeps_every_printed_limit_and_some_come_near_them(name):
    """The limits are taken from the published file and not from the curve: half their ratio, in ln R."""
    curve, printed = load_curve(name), SENDERS[name]["rows"]
    spread = healthy_spread(curve)
    nearest = 0.0
    for temperature_c, least, _, largest in printed:
        view = view_of(curve, np.array([float(temperature_c)]))
        deviations = spread.parts @ view.part_shapes[0]
        half_width = 0.5 * math.log(largest / least)
        assert np.max(np.abs(deviations)) <= half_width * (1.0 + 1e-9)
        nearest = max(nearest, float(np.max(np.abs(deviations))) / half_width)
    assert nearest > 0.9


def test_the_spread_is_symmetrical():
    for name in ("ntc-310-80c", "ntc-2k5-20c"):
        assert np.mean(healthy_spread(load_curve(name)).parts, axis=0) == pytest.approx([0, 0], abs=1e-6)


def test_curves_within_each_other_s_limits_coincide_and_others_do_not():
    """At 20 °C 318 Ω@80 °C prints 2320 to 2590 Ω, at 80 °C 310 to 326 Ω: the 2.5 kΩ part has 2500 and 323."""
    at = np.array([20.0, 80.0])
    one = view_of(load_curve("ntc-318-80c"), at)
    assert coincide(one, view_of(load_curve("ntc-2k5-20c"), at))
    assert not coincide(one, view_of(load_curve("ntc-15k-25c"), at))
