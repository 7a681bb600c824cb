"""At which temperatures a thermometer is shot: enough of them, spread, away from the room, and as was said.

A few shots close together, or at a target as warm as the room, say nothing of what the thermometer does in
between and beyond, and a thermometer that sees only its surroundings would pass.
"""

from collections.abc import Sequence
from itertools import pairwise

from calibration.infrared.emissivity_in_force import LEAST_CONTRAST_K
from calibration.infrared.errors import InfraredError

#: All limits here are choices of ours.
FEWEST_SET_POINTS, MOST_SET_POINTS = 3, 8
#: Nearer two set points are of one temperature. [K]
APART_K = 5.0
#: From the coolest to the hottest. [K]
LEAST_SPAN_K = 20.0
#: Targets of a water bath or a small plate. [°C]
COLDEST_C, HOTTEST_C = 0.0, 150.0
#: Air of a room in which the assumed spans of target and thermometer hold. Assumed. [°C]
COOLEST_AIR_C, WARMEST_AIR_C = 5.0, 40.0
#: A shot farther from its set point is asked about. [K]
NEAR_K = 5.0


def accept_air(air_c: float) -> None:
    """Refuse a room in which nothing is known of target and thermometer.

    Raises
    ------
    InfraredError
        If the air is outside the span.
    """
    if not COOLEST_AIR_C <= air_c <= WARMEST_AIR_C:
        raise InfraredError(
            f"A check is made in air of {COOLEST_AIR_C:g} to {WARMEST_AIR_C:g} °C, and {air_c:.0f} °C stands "
            "here: measure the air beside the target, out of the steam, or go to another room."
        )


def accept_set_points(points_c: Sequence[float], *, air_c: float) -> None:
    """Refuse set points that would say too little.

    Parameters
    ----------
    points_c : sequence of float
        Rising. [°C]
    air_c : float
        Beside the target. [°C]

    Raises
    ------
    InfraredError
        If they are too few or too many, too near to each other or to the air, or beyond what a target does.
    """
    if not FEWEST_SET_POINTS <= len(points_c) <= MOST_SET_POINTS:
        raise InfraredError(
            f"Write {FEWEST_SET_POINTS} to {MOST_SET_POINTS} temperatures with spaces between."
        )
    if any(not COLDEST_C <= point <= HOTTEST_C for point in points_c):
        raise InfraredError(f"A target of this bench is between {COLDEST_C:g} and {HOTTEST_C:g} °C.")
    near = [pair for pair in pairwise(points_c) if pair[1] - pair[0] < APART_K]
    if near:
        raise InfraredError(
            f"{near[0][0]:g} °C and {near[0][1]:g} °C are as good as one: keep them {APART_K:g} K apart "
            "or more."
        )
    span_k = points_c[-1] - points_c[0]
    if span_k < LEAST_SPAN_K:
        raise InfraredError(
            f"They span {span_k:g} K and say nothing of what lies beyond: spread them over "
            f"{LEAST_SPAN_K:g} K or more, over what the thermometer is used for."
        )
    for point_c in points_c:
        accept_contrast(point_c, air_c=air_c)


def accept_contrast(target_c: float, *, air_c: float) -> None:
    """Refuse a target that hardly differs from the room.

    Raises
    ------
    InfraredError
        If it is too near to the air.
    """
    if abs(target_c - air_c) < LEAST_CONTRAST_K:
        raise InfraredError(
            f"A target of {target_c:.0f} °C in a room of {air_c:.0f} °C shows little but the room: choose "
            f"{air_c + LEAST_CONTRAST_K:.0f} °C or more, or {air_c - LEAST_CONTRAST_K:.0f} °C or less."
        )
