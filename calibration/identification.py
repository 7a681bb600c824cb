"""Which curve of the library a part follows, from a handful of points."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.curves import ReferenceCurve
from calibration.curves.reference_curve import COLDEST_INDICATED_C, HOTTEST_INDICATED_C
from calibration.diagnosis.attribution import posterior
from calibration.diagnosis.course import course_at_large
from calibration.diagnosis.curve_view import CurveView, coincide
from calibration.diagnosis.evidence import healthy_log_evidence, log_normal_density
from calibration.diagnosis.measured_points import MeasuredPoints
from calibration.diagnosis.view_beyond import judges_at, view_beyond
from calibration.errors import CurveRangeError

#: Prior probability that the part follows no curve of the library. Stated.
NONE_PRIOR = 0.1
#: Half of it is for an NTC of no curve in the library; the other half for points that no NTC explains, which
#: lie off one by any of these standard deviations of ``ln R``: a wet plug, a slipped clip or thermometer, a
#: digit, a unit. Stated.
SCATTERED_BY = (0.1, 0.3, 1.0, 3.0)
#: Points tell two curves apart where one is this many times as probable as the other ("strong" from here on
#: with R. E. Kass and A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773-795, from memory).
TOLD_APART_FROM = 20.0

# No resistance is read more surely, whatever was typed.
_SUREST_READING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One curve the points may follow.

    Attributes
    ----------
    curve : str
    title : str
    probability : float
    points_judged : int
        At how many of the points the curve gives a verdict. The others count too, by how an NTC may run
        between and beyond its rows.
    coincides_with : tuple[str, ...]
        Curves of higher probability first: those that at these temperatures run within its tolerance, and
        it within theirs.
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
        """Whether no group of curves is likelier than none of them.

        It is the group that is held against none, and not its best curve: curves of a group say the same of
        a part at these temperatures, and so do they together against none. Three of them at 20 % each and
        none at 40 % leave 60 % for a part that any of the three describes; to send its owner off to look for
        a fourth would be wrong more often than right.
        """
        return self.none_of_these >= max(self.group_probabilities.values(), default=0.0)

    @property
    def not_told_apart(self) -> tuple[Candidate, ...]:
        """The likeliest curve of the likeliest group, then those the points do not tell it from.

        They need not coincide with it: two points may lie between two curves. A curve that does coincide but
        is improbable, the points having been sure enough to tell, is not among them. Empty where there is no
        candidate.
        """
        groups = self.group_probabilities
        if not groups:
            return ()
        first = next(c for c in self.candidates if c.group == max(groups, key=lambda group: groups[group]))
        near = (c for c in self.candidates if c.probability * TOLD_APART_FROM > first.probability)
        return (first, *(candidate for candidate in near if candidate is not first))


def identify(points: MeasuredPoints, library: Sequence[ReferenceCurve]) -> Identification:
    """Rank curves by how well they predicted the points.

    A good part of a curve scatters about it by the curve's tolerance. Where the curve gives no verdict,
    between the rows of two or three or beyond its ends, the part runs on as NTC parts do
    (`calibration.diagnosis.view_beyond`): a point there speaks against a curve that physics does not lead
    to it. A part of none is an NTC sender of any R25 and beta that senders have, or the points follow no
    NTC at all. All explanations are held against all points. Curves that give a verdict at one point at
    least start equally likely; the others are not considered.

    Parameters
    ----------
    points : MeasuredPoints
    library : sequence of ReferenceCurve

    Raises
    ------
    CurveRangeError
        If a point is colder or hotter than any sender is used.
    """
    _refuse_unlikely_temperatures(points)
    views = [
        view_beyond(curve, points.temperature_c) for curve in library if _points_judged(curve, points) > 0
    ]
    evidence = [healthy_log_evidence(points, view) for view in views]
    prior = [(1.0 - NONE_PRIOR) / len(views) for _ in views]
    *probabilities, none = posterior([*evidence, _none_log_evidence(points)], [*prior, NONE_PRIOR])
    ranked = sorted(zip(views, probabilities, strict=True), key=lambda pair: (-pair[1], pair[0].curve.name))
    return Identification(candidates=_candidates(ranked, points), none_of_these=none)


def _refuse_unlikely_temperatures(points: MeasuredPoints) -> None:
    for temperature_c in points.temperature_c.tolist():
        if not COLDEST_INDICATED_C <= temperature_c <= HOTTEST_INDICATED_C:
            raise CurveRangeError(
                f"No sender is used at {temperature_c:.6g} °C, only from {COLDEST_INDICATED_C:g} to "
                f"{HOTTEST_INDICATED_C:g} °C. Check the number, its sign and its unit.",
                asked=temperature_c,
                lowest=COLDEST_INDICATED_C,
                highest=HOTTEST_INDICATED_C,
                unit="°C",
            )


def _points_judged(curve: ReferenceCurve, points: MeasuredPoints) -> int:
    return sum(judges_at(curve, t) for t in points.temperature_c.tolist())


def _none_log_evidence(points: MeasuredPoints) -> float:
    """Evidence of what is in no library: an NTC of which nothing is known, or points that none explains."""
    course = course_at_large(points.temperature_c)
    residual = np.log(points.resistance_ohm) - course.log_ohm
    slope = course.slope_per_k
    every = np.eye(points.count)
    thermistor = (
        points.relative_covariance
        + np.outer(slope, slope) * points.temperature_covariance
        + course.covariance
        + _SUREST_READING**2 * every
    )
    scattered = [thermistor + sd**2 * every for sd in SCATTERED_BY]
    of_one, *of_many = log_normal_density(
        np.stack([residual] * (1 + len(scattered))), np.stack([thermistor, *scattered])
    ).tolist()
    return float(np.logaddexp(of_one, np.logaddexp.reduce(of_many) - math.log(len(of_many))) - math.log(2.0))


def _candidates(ranked: Sequence[tuple[CurveView, float]], points: MeasuredPoints) -> tuple[Candidate, ...]:
    """Candidates in order; each joins the group of the first before it that it coincides with."""
    leaders: list[CurveView] = []
    groups: list[int] = []
    for view, _ in ranked:
        group = next((n for n, leader in enumerate(leaders, 1) if coincide(leader, view)), len(leaders) + 1)
        if group > len(leaders):
            leaders.append(view)
        groups.append(group)
    return tuple(
        Candidate(
            curve=view.curve.name,
            title=view.curve.title,
            probability=probability,
            points_judged=_points_judged(view.curve, points),
            coincides_with=tuple(
                other.curve.name
                for (other, _), other_group in zip(ranked, groups, strict=True)
                if other_group == group and other is not view
            ),
            group=group,
        )
        for (view, probability), group in zip(ranked, groups, strict=True)
    )
