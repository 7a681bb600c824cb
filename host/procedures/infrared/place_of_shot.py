"""Whether a shot was taken at the temperature that was asked for."""

import statistics

from calibration.infrared.errors import InfraredError
from host.procedures.infrared.infrared_check import InfraredState
from host.procedures.infrared.set_points import APART_K, NEAR_K, accept_contrast


def measured_c(state: InfraredState, point: int) -> float | None:
    """What the reference said at a set point, over the shots that count; None before there are any. [°C]"""
    references_c = [shot.reference_c for shot in state.counted_at(point)]
    return statistics.fmean(references_c) if references_c else None


def named_c(state: InfraredState, point: int) -> float:
    """What a set point is called: as it was asked for, or as it was measured where that is another. [°C]"""
    asked_c, found_c = state.started.set_points_c[point], measured_c(state, point)
    return asked_c if found_c is None or abs(found_c - asked_c) <= NEAR_K else round(found_c, 1)


def accept_place(state: InfraredState, reference_c: float) -> None:
    """Refuse a shot that adds no set point of its own.

    Parameters
    ----------
    state : InfraredState
        With a set point open.
    reference_c : float
        What the reference says of the target. [°C]

    Raises
    ------
    InfraredError
        If the target hardly differs from the room, or a set point was read there already.
    """
    accept_contrast(reference_c, air_c=state.started.air_c)
    for point in range(state.closed):
        found_c = measured_c(state, point)
        if found_c is not None and abs(found_c - reference_c) < APART_K:
            raise InfraredError(
                f"{found_c:.1f} °C was read already: bring the target {APART_K:g} K away from it or more."
            )


def question_of_place(state: InfraredState, reference_c: float) -> str:
    """What a person is asked before a shot far from its set point is taken; empty where it is near."""
    if state.point_c is None:
        return ""
    wanted_c = named_c(state, state.closed)
    if abs(reference_c - wanted_c) <= NEAR_K:
        return ""
    return (
        f"The target is at {reference_c:.1f} °C, and {wanted_c:g} °C was asked for; within {NEAR_K:g} K will "
        "do. Bring it there, or say that it is meant so."
    )


def places_words(state: InfraredState) -> tuple[str, ...]:
    """What is said on the paper of set points that were shot elsewhere."""
    moved = [
        (asked_c, named_c(state, point))
        for point, asked_c in enumerate(state.started.set_points_c)
        if named_c(state, point) != asked_c
    ]
    return tuple(
        f"Instead of {asked_c:g} °C the target was shot at {found_c:.1f} °C, as was said then."
        for asked_c, found_c in moved
    )
