"""A shop's year with twelve infrared thermometers: drift, bumped switches, dirty lenses, and who notices.

Each quarter every thermometer is checked in three ways at once. What it truly is, the checks do not know.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calibration.conformity import Verdict, overall_verdict
from calibration.infrared.emissivity import reading_c
from calibration.infrared.hand_reading import APART_S, BY_HAND, UNSEEN_DRIFT_K_PER_MIN
from calibration.infrared.infrared_point import FEWEST_SHOTS
from host.benchmarks.report import BenchmarkResult, FigureOfMerit, Goal, Progress
from host.certificates.bodies.infrared import CertifiedShots
from host.procedures.event import Event
from host.procedures.infrared.infrared_advice import adjustment_of
from host.procedures.infrared.infrared_check import Kind, SetUp, state_of
from host.procedures.infrared.infrared_result import judged_points
from host.procedures.infrared.infrared_settings import TARGETS, InfraredSettings
from host.simulated_thermometer import SimulatedThermometer

THERMOMETERS, QUARTERS = 12, 4
YEARS, YEARS_QUICK = 100, 2
SET_POINTS_C = (45.0, 65.0, 90.0)
LIMIT_K = 2.0
AIR_C = 23.0
GOAL_COVERAGE = 0.945

# Assumed, as a shop may have them: standard deviations, chances and spans a quarter.
_NEW_OFFSET_K, _DRIFT_K = 0.5, 0.5
_BUMP_CHANCE, _BUMPED_TO = 0.06, (0.70, 0.90)
_DUST, _GREASE_CHANCE, _GREASE = (0.0, 0.01), 0.06, (0.03, 0.10)

_INSTRUMENT = {
    "serial": "simulated",
    "resolution_k": 0.1,
    "accuracy_k": LIMIT_K,
    "emissivity": "settable",
    "distance_to_spot": 12.0,
    "band_from_um": 8.0,
    "band_to_um": 14.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of checking.

    Attributes
    ----------
    words, target : str
    u_reference_k : float
        Standard uncertainty as the check states it. [K]
    error_half_width_k : float
        The reference is truly off by up to this, anywhere alike. [K]
    station : str
        Whose bench reads the probe; empty where a contact thermometer is read by hand.
    """

    words: str
    target: str
    u_reference_k: float
    error_half_width_k: float
    station: str = "simulated"

    @property
    def settings(self) -> InfraredSettings:
        """A check of that way."""
        kind = TARGETS[self.target]
        return InfraredSettings(
            item="simulated",
            station=self.station,
            instrument=_INSTRUMENT,
            reference={"serial": "simulated"},
            target=self.target,
            surface_emissivity=kind.surface.emissivity,
            surface_half_width=kind.surface.half_width,
            surface_words="",
            target_mm=100.0,
            distance_mm=300.0,
            set_emissivity=0.95,
            air_c=AIR_C,
            set_points_c=SET_POINTS_C,
        )


WAYS = (
    Way(words="cavity, probe of a bench", target="immersed_cavity", u_reference_k=0.1,
        error_half_width_k=0.17),
    Way(words="painted plate, probe of a bench", target="painted_face", u_reference_k=0.1,
        error_half_width_k=0.17),
    Way(words="painted plate, contact thermometer taped on", target="taped_face", u_reference_k=0.29,
        error_half_width_k=0.5, station=""),
    Way(words="painted plate, contact thermometer in its hole", target="painted_face", u_reference_k=0.29,
        error_half_width_k=0.5, station=""),
)  # fmt: skip


@dataclass(slots=True)
class _Tally:
    """What came of the checks of one way."""

    said: Counter[tuple[str, bool, Verdict]]
    inside: int = 0
    points: int = 0
    u_at_hottest_k: float = 0.0
    named_setting: int = 0


class ShopYearBenchmark:
    """See the module."""

    name = "shop_year"

    def run(self, *, seed: int, quick: bool, progress: Progress) -> BenchmarkResult:
        """See `Benchmark`."""
        years = YEARS_QUICK if quick else YEARS
        tallies = {way.words: _Tally(said=Counter()) for way in WAYS}
        for year in range(years):
            for number in range(THERMOMETERS):
                _live_a_year(np.random.default_rng([seed, year, number]), tallies)
            progress(year + 1, years, "years")
        return _result(tallies, years=years, seed=seed)


benchmark = ShopYearBenchmark()


def _live_a_year(rng: np.random.Generator, tallies: Mapping[str, _Tally]) -> None:
    truth = SimulatedThermometer(offset_k=_NEW_OFFSET_K * rng.standard_normal(), noise_k=0.1)
    for _ in range(QUARTERS):
        truth = _a_quarter_later(truth, rng)
        verdicts = [_check(way, truth, rng, tallies[way.words]) for way in WAYS]
        if verdicts[0] is Verdict.OUT_OF_TOLERANCE:  # the shop has a bench: it sets back, wipes, corrects
            truth = replace(truth.mended(), offset_k=_NEW_OFFSET_K * rng.standard_normal())


def _a_quarter_later(truth: SimulatedThermometer, rng: np.random.Generator) -> SimulatedThermometer:
    bumped, greased = rng.random() < _BUMP_CHANCE, rng.random() < _GREASE_CHANCE
    lost = truth.lens_lost + rng.uniform(*_DUST) + (rng.uniform(*_GREASE) if greased else 0.0)
    return replace(
        truth,
        offset_k=truth.offset_k + _DRIFT_K * rng.standard_normal(),
        bumped_to=float(rng.uniform(*_BUMPED_TO)) if bumped else truth.bumped_to,
        lens_lost=min(float(lost), 0.5),
    )


def _check(way: Way, truth: SimulatedThermometer, rng: np.random.Generator, tally: _Tally) -> Verdict:
    settings = way.settings
    kind = settings.kind
    seen = replace(
        truth,
        face_share=float(rng.uniform(kind.lowest_share, kind.highest_share)),
        face_emissivity_off=float(rng.uniform(-1.0, 1.0)) * settings.surface_half_width,
        beside_share=float(rng.uniform(0.0, 0.01)),
        body_apart_k=float(rng.uniform(-5.0, 5.0)),
        # What the room does to it and what the face is uneven by, as spans.
        offset_k=truth.offset_k + float(rng.uniform(-0.3, 0.3) + rng.uniform(-0.1, 0.1)),
        seed=int(rng.integers(2**31)),
    )
    reference_off_k = float(rng.uniform(-1.0, 1.0)) * way.error_half_width_k
    said_c = [_reference_says_c(way, point_c, rng) + reference_off_k for point_c in SET_POINTS_C]
    points = judged_points(state_of(_events(way, settings, seen, said_c)))
    errors_k = [_true_error_k(settings, truth, point) for point in points]
    is_off = any(abs(error_k) > LIMIT_K for error_k in errors_k)
    verdict = overall_verdict(point.verdict for point in points if point.verdict is not None)
    tally.said[_fault(truth), is_off, verdict] += 1
    tally.points += len(points)
    tally.inside += sum(
        abs(point.error_k - error_k) <= point.expanded_u_k
        for point, error_k in zip(points, errors_k, strict=True)
    )
    tally.u_at_hottest_k += points[-1].expanded_u_k
    if truth.bumped_to is not None and adjustment_of(settings, points) is not None:
        tally.named_setting += 1
    return verdict


def _reference_says_c(way: Way, point_c: float, rng: np.random.Generator) -> float:
    """What a reference that is right in itself says of a target of that temperature, as it is read. [°C]"""
    if way.station:
        return point_c
    stem_share = BY_HAND[way.target].low_share * float(rng.uniform(0.0, 1.0))
    drifted_k = UNSEEN_DRIFT_K_PER_MIN / 60.0 * APART_S * float(rng.uniform(-1.0, 1.0))
    return point_c - stem_share * (point_c - AIR_C) + drifted_k


def _events(
    way: Way, settings: InfraredSettings, seen: SimulatedThermometer, said_c: Sequence[float]
) -> Iterator[Event]:
    yield Event(kind=Kind.STARTED, payload={"settings": settings.as_json()})
    for step in SetUp:
        yield Event(kind=Kind.SET_UP_DONE, payload={"step": step.value})
    number = 0
    for point_c, reference_c in zip(settings.set_points_c, said_c, strict=True):
        for _ in range(FEWEST_SHOTS):
            number += 1
            yield Event(
                kind=Kind.SHOT,
                payload={
                    "shown_c": seen.shows_c(settings, point_c, shot=number),
                    "reference_c": reference_c,
                    "u_reference_k": way.u_reference_k,
                    "typed": "",
                    "reference_words": "",
                },
            )
        # A shot that lies apart by chance is looked at, and counts.
        for doubtful in range(number - FEWEST_SHOTS + 1, number + 1):
            yield Event(kind=Kind.ANSWERED, payload={"shot": doubtful, "counts": True, "reason": "looked"})
        yield Event(kind=Kind.POINT_CLOSED)


def _true_error_k(settings: InfraredSettings, truth: SimulatedThermometer, point: CertifiedShots) -> float:
    """What it is off by before a perfect target of the temperature that the check worked with. [K]"""
    perfect = replace(truth, face_share=0.0, beside_share=0.0, body_apart_k=0.0, noise_k=0.0)
    fine = replace(settings, instrument={**settings.instrument, "resolution_k": 0.001})
    expected_c = reading_c(point.face_c, surface=settings.kind.surface, shot=settings.shot, law=settings.law)
    return perfect.shows_c(fine, point.face_c, shot=1) - expected_c


def _fault(truth: SimulatedThermometer) -> str:
    if truth.bumped_to is not None:
        return "switch bumped"
    return "lens dirty" if truth.lens_lost > _GREASE[0] else "drift alone"


FAULTS = ("switch bumped", "lens dirty", "drift alone")


def _result(tallies: Mapping[str, _Tally], *, years: int, seed: int) -> BenchmarkResult:
    checks = THERMOMETERS * QUARTERS * years
    rows, merits, data = [], [], {}
    for words, tally in tallies.items():
        mean_u_k = tally.u_at_hottest_k / checks
        for fault in FAULTS:
            rows.append((words, fault, *_counts(tally, fault), f"{mean_u_k:.2f}"))
        held = tally.inside / tally.points
        wrong = sum(
            count
            for (_, off, verdict), count in tally.said.items()
            if off and verdict is Verdict.IN_TOLERANCE
        )
        merits += [
            FigureOfMerit(
                name=f"{words}: share of intervals with the truth inside",
                value=held,
                goal=GOAL_COVERAGE,
                goal_is=Goal.AT_LEAST,
            ),
            FigureOfMerit(
                name=f"{words}: passed though out of its limit, of all checks", value=wrong / checks
            ),
        ]
        data[words] = _data(tally)
    return BenchmarkResult(
        name=ShopYearBenchmark.name,
        title="A shop's year of infrared thermometers",
        seed=seed,
        counts=f"{THERMOMETERS} thermometers, {QUARTERS} checks a year, {years} years: {checks} checks a way",
        columns=(
            "target and reference",
            "fault",
            "truly out",
            "caught",
            "not decided",
            "passed wrongly",
            "truly in",
            "passed",
            "not decided",
            "failed wrongly",
            "mean U at 90 °C, K",
        ),
        rows=tuple(rows),
        merits=tuple(merits),
        notes=(
            f"Limit ±{LIMIT_K:g} K, guarded rule. A thermometer is truly out where it is off by more at one "
            "of the three temperatures; which those are hangs a little on the way.",
            "Drift, chances of a bump and of grease are assumed; so are the spans of the target, which the "
            "budget shares. Not from metal.",
        ),
        data=data,
        draw=lambda figure: _draw(figure, tallies),
    )


def _counts(tally: _Tally, fault: str) -> tuple[str, ...]:
    cells = []
    for is_off in (True, False):
        of_these = {verdict: tally.said[fault, is_off, verdict] for verdict in Verdict}
        order = (
            (Verdict.OUT_OF_TOLERANCE, Verdict.NOT_DECIDED, Verdict.IN_TOLERANCE)
            if is_off
            else (Verdict.IN_TOLERANCE, Verdict.NOT_DECIDED, Verdict.OUT_OF_TOLERANCE)
        )
        cells += [str(sum(of_these.values())), *(str(of_these[verdict]) for verdict in order)]
    return tuple(cells)


def _data(tally: _Tally) -> dict[str, Any]:
    return {
        "said": {
            f"{fault}, {'out' if off else 'in'}, {verdict.value}": count
            for (fault, off, verdict), count in sorted(tally.said.items())
        },
        "intervals_with_truth": tally.inside,
        "intervals": tally.points,
        "bumped_and_setting_named": tally.named_setting,
    }


def _draw(figure: Any, tallies: Mapping[str, _Tally]) -> None:
    axes = figure.add_subplot()
    left = np.zeros(len(tallies))
    for verdict in (Verdict.OUT_OF_TOLERANCE, Verdict.NOT_DECIDED, Verdict.IN_TOLERANCE):
        counts = np.array(
            [sum(tally.said[fault, True, verdict] for fault in FAULTS) for tally in tallies.values()]
        )
        axes.barh(list(tallies), counts, left=left, label=verdict.words)
        left += counts
    axes.set_xlabel("checks of thermometers that were truly out")
    axes.legend()
