"""From what an infrared thermometer shows to what the surface is, and back.

A surface of emissivity e sends its own radiation and mirrors its surroundings; the thermometer takes off
what it believes is mirrored, by the emissivity it is set to:

    e_set S(t_ind) + (1 - e_set) S(t_believed) = e S(t_s) + (1 - e) S(t_surr)

A handheld believes in its own body, or in the surroundings that were typed into it. Unless stated otherwise
its body is taken to be as warm as what the surface mirrors, within `BODY_APART_HALF_WIDTH_K`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.infrared.errors import InfraredError
from calibration.infrared.radiation_law import RadiationLaw
from calibration.uncertainty.budget import Budget, BudgetLine, CoverageRule, combine
from calibration.uncertainty.line import rectangular

#: Below this a surface is a mirror, and what it mirrors is what would be measured.
LOWEST_EMISSIVITY = 0.1

#: How far the body of a thermometer that lay half an hour in the room is from what the surface mirrors, half-
#: width: it was in a hand, and walls, lamps and people are not as warm as the air. Common practice, no single
#: source. Beside a hot engine it is more: say what the thermometer believes. [K]
BODY_APART_HALF_WIDTH_K = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """What the thermometer is pointed at.

    Attributes
    ----------
    emissivity : float
        In the thermometer's band.
    half_width : float
        Anywhere within ± this is equally likely.
    """

    emissivity: float
    half_width: float = 0.0

    def __post_init__(self) -> None:
        if not LOWEST_EMISSIVITY <= self.emissivity <= 1.0:
            raise InfraredError(
                f"A surface of emissivity {self.emissivity:g} is outside {LOWEST_EMISSIVITY:g} to 1: bare "
                "bright metal mirrors the room. Stick matt tape or paint on it and use its value."
            )
        if not 0.0 <= self.half_width < self.emissivity:
            raise InfraredError(
                f"An emissivity of {self.emissivity:g} ± {self.half_width:g} says nothing: "
                "stick matt tape or paint on the surface and use its value."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How one reading was taken.

    Attributes
    ----------
    set_emissivity : float
        What the thermometer is set to.
    surroundings_c : float
        What the surface mirrors. [°C]
    surroundings_half_width_k : float
        Anywhere within ± this is equally likely. [K]
    believed_c : float or None
        What the thermometer takes for the surroundings; None: its body, about as warm as they are. [°C]
    believed_half_width_k : float or None
        Anywhere within ± this of what is stated, or else of the surroundings, is equally likely. None: 0
        where it is stated, else `BODY_APART_HALF_WIDTH_K`. [K]
    """

    set_emissivity: float
    surroundings_c: float
    surroundings_half_width_k: float = 0.0
    believed_c: float | None = None
    believed_half_width_k: float | None = None

    def __post_init__(self) -> None:
        if not LOWEST_EMISSIVITY <= self.set_emissivity <= 1.0:
            raise InfraredError(
                f"No thermometer is set to an emissivity of {self.set_emissivity:g}: look again at its "
                f"display, and set it from {LOWEST_EMISSIVITY:g} to 1."
            )
        for what, half_width_k in (
            ("surroundings", self.surroundings_half_width_k),
            ("surroundings as the thermometer takes them", self.taken_off_half_width_k),
        ):
            if not 0.0 <= half_width_k < math.inf:
                raise InfraredError(
                    f"A half-width of {half_width_k:g} K of the {what} says nothing: give 0 K or more."
                )

    @property
    def taken_off_c(self) -> float:
        """What the thermometer takes for mirrored. [°C]"""
        return self.surroundings_c if self.believed_c is None else self.believed_c

    @property
    def taken_off_half_width_k(self) -> float:
        """Half-width of that, beside the surroundings' own where it is not stated. [K]"""
        if self.believed_half_width_k is not None:
            return self.believed_half_width_k
        return BODY_APART_HALF_WIDTH_K if self.believed_c is None else 0.0


def true_c(reading_c: float, *, surface: Surface, shot: Shot, law: RadiationLaw) -> float:
    """Temperature of the surface behind a reading. [°C]

    Parameters
    ----------
    reading_c : float
        As shown. [°C]
    surface : Surface
    shot : Shot
    law : RadiationLaw
        Of the thermometer's band.

    Raises
    ------
    InfraredError
        If the surroundings alone would send more than was seen, or a temperature leaves the span.
    """
    seen = shot.set_emissivity * law.signal(reading_c)
    seen += (1.0 - shot.set_emissivity) * law.signal(shot.taken_off_c)
    own = seen - (1.0 - surface.emissivity) * law.signal(shot.surroundings_c)
    if not own > 0.0:
        raise InfraredError(
            f"Surroundings at {shot.surroundings_c:g} °C, mirrored by an emissivity of "
            f"{surface.emissivity:g}, would alone send more than a reading of {reading_c:g} °C. "
            "Shield the surface from hot things, or use tape or paint on it."
        )
    return law.temperature_c(own / surface.emissivity)


def reading_c(surface_c: float, *, surface: Surface, shot: Shot, law: RadiationLaw) -> float:
    """What the thermometer shows of a surface at a true temperature. [°C]

    Parameters
    ----------
    surface_c : float
        True temperature of the surface. [°C]
    surface, shot, law :
        As for `true_c`, whose reverse this is.

    Raises
    ------
    InfraredError
        If the thermometer takes off more than the surface sends, or a temperature leaves the span.
    """
    seen = surface.emissivity * law.signal(surface_c)
    seen += (1.0 - surface.emissivity) * law.signal(shot.surroundings_c)
    own = seen - (1.0 - shot.set_emissivity) * law.signal(shot.taken_off_c)
    if not own > 0.0:
        raise InfraredError(
            f"Set to {shot.set_emissivity:g}, the thermometer takes off more than {surface_c:g} °C sends: "
            "it would show nothing."
        )
    return law.temperature_c(own / shot.set_emissivity)


def true_budget(
    shown_c: float,
    *,
    surface: Surface,
    shot: Shot,
    law: RadiationLaw,
    thermometer: Sequence[BudgetLine] = (),
    others: Sequence[BudgetLine] = (),
) -> Budget:
    """Budget of the surface's temperature from a reading. [°C]

    Parameters
    ----------
    shown_c : float
        Reading. [°C]
    surface, shot, law :
        As for `true_c`.
    thermometer : sequence of BudgetLine
        What makes the reading itself uncertain, sensitivity 1 to the reading: calibration, resolution,
        noise. They are carried to the surface here.
    others : sequence of BudgetLine
        Lines with sensitivities to the surface's temperature: size of source, uniformity …

    Notes
    -----
    With S' for the slope of S, from the equation at the head of this module: ∂t_s/∂t_ind = e_set S'(t_ind)
    / (e S'(t_s)); ∂t_s/∂e = (S(t_surr) - S(t_s)) / (e S'(t_s)); ∂t_s/∂t_surr = -(1 - e) S'(t_surr)
    / (e S'(t_s)) and ∂t_s/∂t_believed = (1 - e_set) S'(t_believed) / (e S'(t_s)). Where it is not stated what
    the thermometer believes, t_believed = t_surr + d with a difference d about nothing: then the slope with
    t_surr is the sum of both, and that with d the latter. Lines after the component list of ASTM E2847 and
    CCT-WG5 08-03, as far as they touch a single shot.
    """
    surface_c = true_c(shown_c, surface=surface, shot=shot, law=law)
    own_slope = surface.emissivity * law.slope_per_k(surface_c)
    by_reading = shot.set_emissivity * law.slope_per_k(shown_c) / own_slope
    by_mirrored = -(1.0 - surface.emissivity) * law.slope_per_k(shot.surroundings_c) / own_slope
    by_believed = (1.0 - shot.set_emissivity) * law.slope_per_k(shot.taken_off_c) / own_slope
    lines = [_carried(line, by_reading) for line in thermometer]
    by_emissivity = (law.signal(shot.surroundings_c) - law.signal(surface_c)) / own_slope
    lines += [
        rectangular("emissivity of the surface", surface.emissivity, "1", surface.half_width, by_emissivity),
        rectangular(
            "surroundings mirrored",
            shot.surroundings_c,
            "°C",
            shot.surroundings_half_width_k,
            by_mirrored + (by_believed if shot.believed_c is None else 0.0),
        ),
        rectangular(
            "surroundings as believed",
            shot.taken_off_c,
            "°C",
            shot.taken_off_half_width_k,
            by_believed,
        ),
    ]
    return combine(
        estimate=surface_c, unit="°C", lines=(*lines, *others), coverage=CoverageRule.DOMINANT_WITH_REST
    )


def reading_budget(
    surface_c: float,
    *,
    surface: Surface,
    shot: Shot,
    law: RadiationLaw,
    thermometer: Sequence[BudgetLine] = (),
    others: Sequence[BudgetLine] = (),
) -> Budget:
    """Budget of what the thermometer will show of a surface at a true temperature. [°C]

    Parameters
    ----------
    surface_c : float
        True temperature of the surface. [°C]
    surface, shot, law, thermometer, others :
        As for `true_budget`.

    Notes
    -----
    The lines are those of `true_budget` at the reading expected, carried to the reading.
    """
    expected_c = reading_c(surface_c, surface=surface, shot=shot, law=law)
    there = true_budget(
        expected_c, surface=surface, shot=shot, law=law, thermometer=thermometer, others=others
    )
    by_surface = (surface.emissivity * law.slope_per_k(surface_c)) / (
        shot.set_emissivity * law.slope_per_k(expected_c)
    )
    lines = tuple(_carried(line, -by_surface) for line in there.lines)
    return combine(estimate=expected_c, unit="°C", lines=lines, coverage=CoverageRule.DOMINANT_WITH_REST)


def _carried(line: BudgetLine, factor: float) -> BudgetLine:
    return replace(line, sensitivity=line.sensitivity * factor)
