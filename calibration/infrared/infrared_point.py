"""One set point of an infrared check: shots of a thermometer at the target, against the probe in it.

Lines after ASTM E2847 (component list of CCT-WG5 08-03): calibration temperature, heat exchange of the
source, uniformity, emissivity, reflected ambient; and of the thermometer: noise, resolution, size of source,
ambient temperature.
"""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.infrared.emissivity import Shot, Surface, reading_budget
from calibration.infrared.errors import InfraredError
from calibration.infrared.hand_reading import HandReading
from calibration.infrared.radiation_law import RadiationLaw
from calibration.infrared.spot import OUTSIDE_SHARE, size_of_source_line
from calibration.uncertainty.budget import Budget, BudgetLine, CoverageRule, combine
from calibration.uncertainty.line import normal, rectangular, student

FEWEST_SHOTS = 3

#: A handheld that was not half an hour in the room is off by more. Assumed, half-width. [K]
AMBIENT_HALF_WIDTH_K = 0.3
#: Over the spot, half-width; assumed of a stirred bath behind a metal plate. [K]
UNIFORMITY_HALF_WIDTH_K = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetKind:
    """How a target is built, and by what share of (t - t_air) its face may be colder than its probe.

    Attributes
    ----------
    words : str
        As printed.
    surface : Surface
    lowest_share, highest_share : float
        Anywhere within is equally likely. [1]
    """

    words: str
    surface: Surface
    lowest_share: float
    highest_share: float


# Shares from a simulation: 0.5 K of paint at 90 °C in air of 23 °C. A plate whose probe hangs in the water is
# 1.3 K colder still, which is why there is no such target here. Nothing of it was measured on metal.
PAINTED_FACE = TargetKind(
    words="plate painted matt black, probe within 2 mm of its face",
    surface=Surface(emissivity=0.96, half_width=0.02),
    lowest_share=0.0,
    highest_share=0.0075,
)
IMMERSED_CAVITY = TargetKind(
    words="cavity immersed in the bath, probe at its wall",
    surface=Surface(emissivity=0.99, half_width=0.01),
    lowest_share=0.0,
    highest_share=0.002,
)
# A thermometer on a face sees the air as well and reads low: by 0 to 5 % of (t - t_air) under tape with paste
# (common practice, no single source; not measured here). The face is then warmer than it says.
TAPED_FACE = TargetKind(
    words="plate painted matt black, contact thermometer taped to its face beside the spot",
    surface=Surface(emissivity=0.96, half_width=0.02),
    lowest_share=-0.05,
    highest_share=0.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The target as it stood.

    Attributes
    ----------
    kind : TargetKind
    probe_c, u_probe_k : float
        By its probe, and the standard uncertainty of that. [°C], [K]
    air_c : float
        Beside it. [°C]
    by_hand : HandReading or None
        How a contact thermometer touches it that is read by hand; None where a bench reads its probe.
    """

    kind: TargetKind
    probe_c: float
    u_probe_k: float
    air_c: float
    by_hand: HandReading | None = None

    @property
    def face_c(self) -> float:
        """Best estimate of its face. [°C]"""
        middle = 0.5 * (self.kind.lowest_share + self.kind.highest_share)
        stem_k = self.by_hand.correction_k(said_c=self.probe_c, air_c=self.air_c) if self.by_hand else 0.0
        return self.probe_c + stem_k - middle * (self.probe_c - self.air_c)

    @property
    def face_half_width_k(self) -> float:
        """Half-width of that estimate against the probe. [K]"""
        half = 0.5 * (self.kind.highest_share - self.kind.lowest_share)
        return half * abs(self.probe_c - self.air_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredPoint:
    """A judged set point.

    Attributes
    ----------
    face_c : float
        True temperature of the target's face. [°C]
    expected_c : float
        What a perfect thermometer with that setting would show of it. [°C]
    shown_c : float
        Mean of the shots. [°C]
    budget : Budget
        Of the error, shown minus expected. [K]
    """

    face_c: float
    expected_c: float
    shown_c: float
    budget: Budget

    @property
    def error_k(self) -> float:
        """Shown minus expected. [K]"""
        return self.budget.estimate

    @property
    def expanded_u_k(self) -> float:
        """Expanded uncertainty of the error. [K]"""
        return self.budget.expanded_u


def judge_shots(
    readings_c: Sequence[float],
    *,
    target: Target,
    shot: Shot,
    law: RadiationLaw,
    resolution_k: float,
    outside_share: float = OUTSIDE_SHARE,
) -> InfraredPoint:
    """Error of an infrared thermometer at one set point.

    Parameters
    ----------
    readings_c : sequence of float, shape (shots,)
        Of one thermometer at one target, which stood still meanwhile. [°C]
    target : Target
    shot : Shot
        Its setting and surroundings.
    law : RadiationLaw
        Of its band.
    resolution_k : float
        Its last digit. [K]
    outside_share : float
        Largest share of its signal that comes from beside the target.

    Raises
    ------
    InfraredError
        If there are fewer than three shots, or the correction cannot be made.
    """
    if len(readings_c) < FEWEST_SHOTS:
        raise InfraredError(
            f"{len(readings_c)} shots show no scatter: take {FEWEST_SHOTS} or more at every set point, with "
            "the trigger released between them."
        )
    expected = reading_budget(
        target.face_c,
        surface=target.kind.surface,
        shot=shot,
        law=law,
        others=_target_lines(target, law, outside_share),
    )
    shown_c = statistics.fmean(readings_c)
    lines = (*expected.lines, *_thermometer_lines(readings_c, resolution_k))
    budget = combine(
        estimate=shown_c - expected.estimate,
        unit="K",
        lines=lines,
        coverage=CoverageRule.DOMINANT_WITH_REST,
    )
    return InfraredPoint(face_c=target.face_c, expected_c=expected.estimate, shown_c=shown_c, budget=budget)


def _target_lines(target: Target, law: RadiationLaw, outside_share: float) -> tuple[BudgetLine, ...]:
    by_hand = target.by_hand.lines(said_c=target.probe_c, air_c=target.air_c) if target.by_hand else ()
    return (
        normal("calibration temperature", target.probe_c, "°C", target.u_probe_k, 1.0),
        *by_hand,
        rectangular("heat exchange of the face", 0.0, "K", target.face_half_width_k, 1.0),
        rectangular("uniformity of the face", 0.0, "K", UNIFORMITY_HALF_WIDTH_K, 1.0),
        size_of_source_line(
            surface_c=target.face_c, beside_c=target.air_c, law=law, outside_share=outside_share
        ),
    )


def _thermometer_lines(readings_c: Sequence[float], resolution_k: float) -> tuple[BudgetLine, ...]:
    count = len(readings_c)
    of_mean_k = statistics.stdev(readings_c) / count**0.5
    return (
        student("noise of the shots", 0.0, "K", of_mean_k, 1.0, count - 1.0),
        rectangular("resolution", 0.0, "K", 0.5 * resolution_k, 1.0),
        rectangular("temperature of the thermometer itself", 0.0, "K", AMBIENT_HALF_WIDTH_K, 1.0),
    )
