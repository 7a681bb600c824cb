import numpy as np
import pytest
from scipy.stats import norm

from calibration.curves import load_curve
from calibration.diagnosis import Fault
from host.benchmarks.attribution_bound import _bound, _Hypothesis, bounds
from host.benchmarks.attribution_ladders import BENCH, HAND

CURVE = load_curve("ntc-2k5-20c")


def hypothesis(fault, shift):
    return _Hypothesis(
        fault=fault, words=fault.value, shown="", multiple=2.0, shift=np.array([shift]),
        share=np.ones(1), covariance=np.eye(1),
    )  # fmt: skip


@pytest.mark.parametrize("apart", [0.5, 1.5, 3.0])
def test_of_two_normal_populations_the_best_rule_is_neyman_and_pearson_s(apart):
    """Its power at 2 % is 1 - Φ(z - d), z the upper 2 % point (Lehmann and Romano 2005, example 3.2.1)."""
    x = np.linspace(-8.0, 12.0, 4001)
    densities = np.stack([norm.pdf(x), norm.pdf(x - apart)])
    weights = densities / densities.sum(axis=1, keepdims=True)
    both = (hypothesis(Fault.HEALTHY, 0.0), hypothesis(Fault.R25, apart))
    found = _bound(1, both, weights, 0.02)
    assert found.right == pytest.approx(1.0 - norm.cdf(norm.isf(0.02) - apart), abs=2e-3)
    assert found.limited_by == ("healthy",)


@pytest.mark.slow
def test_by_hand_no_classifier_reaches_nine_of_ten_for_a_shifted_element():
    """A thermometer 3 to 6 K off looks like R25, tens of ohms in series like a flatter beta."""
    found = {
        one.words: one for one in bounds(HAND, CURVE, multiple=2.0, wrong_at_most=0.02, draws=40, seed=1)
    }
    for words, limit in (("R25 high", "thermometer"), ("R25 low", "thermometer"), ("beta flatter", "series")):
        assert found[words].right < 0.85
        assert any(limit in other for other in found[words].limited_by)
    for words in ("beta steeper", "series", "leakage"):
        assert found[words].right > 0.9


@pytest.mark.slow
def test_on_the_bench_all_but_a_flatter_beta_and_a_stem_can_be_named():
    found = {
        one.words: one for one in bounds(BENCH, CURVE, multiple=2.0, wrong_at_most=0.02, draws=40, seed=1)
    }
    for words in ("R25 high", "R25 low", "beta steeper", "series", "leakage", "thermometer high"):
        assert found[words].right > 0.9
    assert any("stem" in other for other in found["beta flatter"].limited_by)
