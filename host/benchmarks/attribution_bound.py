"""How often any classifier at all could name a fault right, naming it wrongly no more often than allowed.

A naming rule says for every possible set of points how likely it names the fault. Its shares of right and of
wrong answers are linear in that, so the best rule is a linear program: the most right answers at one size of
the fault, while in no other cell more than the allowed share is called by this name. That is the lemma of
Neyman and Pearson for several hypotheses [1]_, solved here on drawn points. The rule may know sizes, spreads
and errors exactly, which no diagnosis does: none can do better, and one that knows less need not reach it.

The points are drawn as the diagnosis takes them to be: normal errors with the stated covariance (by hand
0.6 K, half of its variance common to all points, and 1 % of R; on the bench the budgets'), good parts evenly
within ±5 % of R25 and ±1 % of beta.

References
----------
.. [1] E. L. Lehmann and J. P. Romano, Testing Statistical Hypotheses (3rd ed., 2005), theorem 3.6.1.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from calibration.curves import ReferenceCurve
from calibration.diagnosis import Fault, MeasuredPoints, points_by_hand, points_from_bench
from calibration.diagnosis.curve_view import CurveView, view_of
from calibration.diagnosis.evidence import log_over_parts
from calibration.diagnosis.fault_shapes import USUAL_AIR_C, branches_of
from calibration.diagnosis.measured_points import Matrix, Vector
from calibration.thermistor.fit_point import FitPoint
from host.benchmarks.attribution_ladders import HAND, ladders
from host.benchmarks.attribution_world import HAND_C, Bench
from host.typed_check import ASSUMED_U_RESISTANCE_PERCENT, ASSUMED_U_TEMPERATURE_K

#: Sizes of the other faults: finer than the table's, since the goal is for any size.
FINE_MULTIPLES = tuple(0.25 * 2.0 ** (0.5 * step) for step in range(11))
# Others that are less of the reason than this are not named.
_WORTH_SAYING = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """Most that a classifier can reach at one size of a fault.

    Attributes
    ----------
    words : str
        The fault with its direction.
    right : float
        Share named right, at most.
    limited_by : tuple[str, ...]
        Other cells that keep it down, the strongest first; empty where none does.
    """

    words: str
    right: float
    limited_by: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hypothesis:
    """One fault of one size, as the diagnosis takes it to be."""

    fault: Fault
    words: str
    shown: str
    multiple: float | None
    shift: Vector
    share: Vector
    covariance: Matrix

    def drawn(self, view: CurveView, count: int, chance: np.random.Generator) -> Matrix:
        """Residuals of ``ln R`` of that many senders."""
        half_widths = np.array([view.spread.r25_half_width, view.spread.beta_half_width])
        parts = chance.uniform(-half_widths, half_widths, (count, 2))
        noise = chance.standard_normal((count, view.count)) @ np.linalg.cholesky(self.covariance).T
        return self.shift + self.share * (parts @ view.part_shapes.T) + noise

    def log_density(self, view: CurveView, residual: Matrix) -> Vector:
        """Of drawn residuals."""
        many = residual.shape[0]
        return log_over_parts(
            view,
            residual - self.shift,
            np.broadcast_to(self.share, residual.shape),
            np.broadcast_to(self.covariance, (many, *self.covariance.shape)),
        )


def bounds(
    measured: str, curve: ReferenceCurve, *, multiple: float, wrong_at_most: float, draws: int, seed: int
) -> tuple[Bound, ...]:
    """Bounds of every fault with a size, at one multiple of its smallest nameable size.

    Parameters
    ----------
    measured : str
        ``HAND`` or ``BENCH``.
    curve : ReferenceCurve
    multiple : float
        One of `FINE_MULTIPLES`.
    wrong_at_most : float
        Share of any other cell that may be called by the fault's name.
    draws : int
        Points drawn from every hypothesis.
    seed : int
    """
    points = _points(measured, curve)
    view = view_of(curve, points.temperature_c)
    hypotheses = tuple(_hypotheses(measured, points, view))
    chance = np.random.default_rng(seed)
    drawn = np.concatenate([one.drawn(view, draws, chance) for one in hypotheses])
    logs = np.stack([one.log_density(view, drawn) for one in hypotheses])
    # The points come from all hypotheses alike: each sees them with its own weight.
    mixture = np.logaddexp.reduce(logs, axis=0) - math.log(len(hypotheses))
    weights = np.exp(logs - mixture) / drawn.shape[0]
    # What is drawn stands for the whole: each hypothesis has all its weight in it.
    weights /= np.sum(weights, axis=1, keepdims=True)
    return tuple(
        _bound(number, hypotheses, weights, wrong_at_most)
        for number, one in enumerate(hypotheses)
        if one.multiple is not None and math.isclose(one.multiple, multiple)
    )


def _bound(number: int, hypotheses: tuple[_Hypothesis, ...], weights: Matrix, wrong_at_most: float) -> Bound:
    mine = hypotheses[number]
    others = [n for n, other in enumerate(hypotheses) if other.fault is not mine.fault]
    best = linprog(
        -weights[number],
        A_ub=weights[others],
        b_ub=np.full(len(others), wrong_at_most),
        bounds=(0.0, 1.0),
        method="highs",
    )
    prices = -best.ineqlin.marginals
    limiting = [n for n in np.argsort(-prices).tolist() if prices[n] > _WORTH_SAYING * np.sum(prices)]
    named = tuple(f"{hypotheses[others[n]].words} {hypotheses[others[n]].shown}".strip() for n in limiting)
    right = float(-best.fun)
    return Bound(words=mine.words, right=right, limited_by=named if right < 1.0 - wrong_at_most else ())


def _points(measured: str, curve: ReferenceCurve) -> MeasuredPoints:
    """Points of a nominal part, for their covariance."""
    if measured != HAND:
        return points_from_bench(Bench(curve).budgeted, curve)
    return points_by_hand(
        [
            FitPoint(
                temperature_c=t,
                resistance_ohm=curve.nominal_ohm(t),
                u_temperature_k=ASSUMED_U_TEMPERATURE_K,
                u_resistance_ohm=ASSUMED_U_RESISTANCE_PERCENT / 100.0 * curve.nominal_ohm(t),
            )
            for t in HAND_C
        ]
    )


def _hypotheses(measured: str, points: MeasuredPoints, view: CurveView) -> Iterator[_Hypothesis]:
    nothing, all_of_it = np.zeros(view.count), np.ones(view.count)
    yield _Hypothesis(
        fault=Fault.HEALTHY, words="a good sender", shown="", multiple=None, shift=nothing, share=all_of_it,
        covariance=view.covariance_of_one_beta(points, all_of_it),
    )  # fmt: skip
    for ladder in ladders(measured):
        found = [one for one in branches_of(ladder.fault, USUAL_AIR_C) if one.variant == ladder.variant]
        for branch in found:
            for multiple, size in ladder.sizes(FINE_MULTIPLES):
                sizes = np.array([branch.sign * size])
                shift, share = branch.effect(view, sizes)
                uneven = np.zeros((view.count, view.count))
                if branch.uneven is not None:
                    uneven = np.diag(branch.uneven(view, sizes, shift)[0] ** 2)
                yield _Hypothesis(
                    fault=ladder.fault, words=ladder.words, shown=ladder.shown(size), multiple=multiple,
                    shift=shift[0], share=share[0],
                    covariance=view.covariance_of_one_beta(points, share[0]) + uneven,
                )  # fmt: skip
