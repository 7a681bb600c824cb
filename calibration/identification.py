"""Which curve of the library a part follows, from a handful of points."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.diagnosis.attribution import posterior
from calibration.diagnosis.curve_view import CurveView, coincide, view_of
from calibration.diagnosis.evidence import healthy_log_evidence, log_normal_density
from calibration.diagnosis.measured_points import MeasuredPoints
from calibration.errors import CurveRangeError
from calibration.temperature_scale import ZERO_CELSIUS_K
from calibration.thermistor.beta import REFERENCE_K

#: Prior probability that the part follows no curve of the library. Stated.
NONE_PRIOR = 0.1

# NTC senders at large: R25 from some hundred ohms to some ten kilohms, beta as ceramics have it. The middle
# and the standard deviations of ln R25 and of beta are assumed.
_USUAL_R25_OHM, _LOG_R25_SPREAD = 3000.0, 1.5
_USUAL_BETA_K, _BETA_SPREAD_K = 3600.0, 400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One curve the points may follow.

    Attributes
    ----------
    curve : str
    title : str
    probability : float
    points_judged : int
        At how many of the points the curve can judge.
    coincides_with : tuple[str, ...]
        Curves of higher probability first: those these points cannot tell it from by their tolerances.
    group : int
        Curves that coincide have one number, from 1 on.
    """

    curve: str
    title: str
    probability: float
    points_judged: int
    coincides_with: tuple[str, ...]
    group: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Identification:
    """The library ranked for some points.

    Attributes
    ----------
    candidates : tuple[Candidate, ...]
        The likeliest first.
    none_of_these : float
        Probability that the part follows none of them; with the candidates' it sums to one.
    """

    candidates: tuple[Candidate, ...]
    none_of_these: float

    @property
    def group_probabilities(self) -> dict[int, float]:
        """Probability of each group of curves that coincide."""
        groups = dict.fromkeys((candidate.group for candidate in self.candidates), 0.0)
        for candidate in self.candidates:
            groups[candidate.group] += candidate.probability
        return groups

    @property
    def none_is_likeliest(self) -> bool:
        """Whether no group of curves is likelier than none of them."""
        return self.none_of_these >= max(self.group_probabilities.values(), default=0.0)


def identify(points: MeasuredPoints, library: Sequence[ReferenceCurve]) -> Identification:
    """Rank curves by how well they predicted the points.

    A good part of a curve scatters about it by the curve's tolerance; a part of no known curve is an NTC
    sender of any R25 and beta that senders have. Each curve is compared with the latter at those points
    where it can judge: the others, such as those away from the rows of a curve of two or three, count
    neither for it nor against it. Curves start equally likely.

    Parameters
    ----------
    points : MeasuredPoints
    library : sequence of ReferenceCurve
    """
    judged = [seen for curve in library if (seen := _seen(points, curve)) is not None]
    evidence = [_log_ratio(points, view, chosen) for view, chosen in judged]
    prior = [(1.0 - NONE_PRIOR) / len(judged)] * len(judged) if judged else []
    *probabilities, none = posterior([*evidence, 0.0], [*prior, NONE_PRIOR])
    ranked = sorted(
        zip(judged, probabilities, strict=True), key=lambda pair: (-pair[1], pair[0][0].curve.name)
    )
    return Identification(
        candidates=_candidates([(view, chosen, p) for (view, chosen), p in ranked]), none_of_these=none
    )


def _seen(points: MeasuredPoints, curve: ReferenceCurve) -> tuple[CurveView, tuple[int, ...]] | None:
    """View of a curve at the points where it can judge, with their numbers."""
    chosen = tuple(number for number, t in enumerate(points.temperature_c.tolist()) if _can_judge(curve, t))
    return (view_of(curve, points.temperature_c[list(chosen)]), chosen) if chosen else None


def _can_judge(curve: ReferenceCurve, temperature_c: float) -> bool:
    try:
        curve.nominal_ohm(temperature_c)
    except CurveRangeError:
        return False
    return True


def _log_ratio(points: MeasuredPoints, view: CurveView, chosen: Sequence[int]) -> float:
    seen = points.only(chosen)
    return healthy_log_evidence(seen, view) - _unknown_log_evidence(seen)


def _unknown_log_evidence(points: MeasuredPoints) -> float:
    """Evidence of an NTC sender of which nothing is known."""
    temperature_k = points.temperature_c + ZERO_CELSIUS_K
    per_beta = 1.0 / temperature_k - 1.0 / REFERENCE_K
    residual = np.log(points.resistance_ohm / _USUAL_R25_OHM) - _USUAL_BETA_K * per_beta
    slope = -_USUAL_BETA_K / temperature_k**2
    covariance = (
        points.relative_covariance
        + np.outer(slope, slope) * points.temperature_covariance
        + _LOG_R25_SPREAD**2
        + _BETA_SPREAD_K**2 * np.outer(per_beta, per_beta)
    )
    return float(log_normal_density(residual, covariance))


def _candidates(ranked: Sequence[tuple[CurveView, tuple[int, ...], float]]) -> tuple[Candidate, ...]:
    """Candidates in order; each joins the group of the first before it that it coincides with."""
    leaders: list[tuple[CurveView, tuple[int, ...]]] = []
    groups: list[int] = []
    for view, chosen, _ in ranked:
        group = next(
            (n for n, leader in enumerate(leaders, 1) if _coincide(leader, (view, chosen))), len(leaders) + 1
        )
        if group > len(leaders):
            leaders.append((view, chosen))
        groups.append(group)
    return tuple(
        Candidate(
            curve=view.curve.name,
            title=view.curve.title,
            probability=probability,
            points_judged=len(chosen),
            coincides_with=tuple(
                other.curve.name
                for (other, _, _), other_group in zip(ranked, groups, strict=True)
                if other_group == group and other is not view
            ),
            group=group,
        )
        for (view, chosen, probability), group in zip(ranked, groups, strict=True)
    )


def _coincide(one: tuple[CurveView, tuple[int, ...]], other: tuple[CurveView, tuple[int, ...]]) -> bool:
    """Whether two curves say the same at the points where both can judge; there must be one."""
    shared = [number for number in one[1] if number in other[1]]
    if not shared:
        return False
    return coincide(_at(one, shared), _at(other, shared))


def _at(seen: tuple[CurveView, tuple[int, ...]], shared: Sequence[int]) -> CurveView:
    view, chosen = seen
    picked = np.array([view.temperature_c[chosen.index(number)] for number in shared])
    return view_of(view.curve, picked, view.spread)
