"""What would explain the errors of an infrared check, and what to do first: the setting, or the lens.

A setting below the one that was meant makes a thermometer read hot targets high, one above it low. Dirt on a
lens keeps signal off and sends that of the room in its place: hot targets can only read low by it. Either
error grows with the distance from the room; one that is the same everywhere is neither.
"""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.infrared.emissivity import reading_c
from calibration.infrared.emissivity_in_force import LEAST_CONTRAST_K, ShownOfFace, common_emissivity
from calibration.infrared.errors import InfraredError
from host.certificates.bodies.infrared import CertifiedShots
from host.procedures.infrared.infrared_settings import InfraredSettings

#: Targets whose own uncertainty is smaller, by the target that was shot.
_BETTER_TARGETS = {
    "taped_face": "A cavity in the bath, or a plate with a probe under its face, decides more than a "
    "thermometer taped on.",
    "painted_face": "A cavity in the bath decides more than a plate with a probe under its face.",
    "immersed_cavity": "A cavity in the bath is the best target there is here: more shots, a reference with "
    "a smaller uncertainty and a steadier bath decide more.",
}
#: Something is proposed where it would take this much of the mean square error off; settings are tried in
#: these steps, as displays have them. Choices of ours. [1]
_WORTH_SAYING = 0.75
_SETTING_STEP = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """An emissivity that would take most of the error off.

    Attributes
    ----------
    emissivity : float
        To two places, as displays take it.
    words : str
    """

    emissivity: float
    words: str


def adjustment_of(settings: InfraredSettings, points: Sequence[CertifiedShots]) -> Adjustment | None:
    """Emissivity to set before a check as left, where it is the setting that is off; None where it is not."""
    if settings.is_rig_sensor or settings.handheld.fixed_emissivity is not None or not points:
        return None
    seen = [ShownOfFace(face_c=point.face_c, shown_c=point.shown_c) for point in points]
    try:
        found = common_emissivity(seen, surface=settings.kind.surface, shot=settings.shot, law=settings.law)
    except InfraredError:
        return None
    if found is None or _is_true_as_far_as_can_be_told(points):
        return None
    in_force = round(found / _SETTING_STEP) * _SETTING_STEP
    if abs(in_force - settings.set_emissivity) < 0.5 * _SETTING_STEP:
        return None
    left = _mean_square_if_in_force(settings, points, in_force)
    # An error that is the same everywhere is no emissivity: that one grows with the distance from the room.
    if left is None or not _is_worth_saying(points, left):
        return None
    return Adjustment(emissivity=in_force, words=_setting_words(settings, in_force))


def _mean_square_if_in_force(
    settings: InfraredSettings, points: Sequence[CertifiedShots], in_force: float
) -> float | None:
    shot = replace(settings.shot, set_emissivity=in_force)
    try:
        return statistics.fmean(
            (
                point.shown_c
                - reading_c(point.face_c, surface=settings.kind.surface, shot=shot, law=settings.law)
            )
            ** 2
            for point in points
        )
    except InfraredError:
        return None


def lens_words(settings: InfraredSettings, points: Sequence[CertifiedShots]) -> str:
    """What to do where the errors are those of dirt on the lens; empty where they are not."""
    far = [point for point in points if abs(point.expected_c - settings.air_c) >= LEAST_CONTRAST_K]
    if not far or _is_true_as_far_as_can_be_told(far):
        return ""
    shares = [_share_lost(settings, point) for point in far]
    lost = statistics.fmean(shares)
    left = statistics.fmean(_error_left_k(settings, point, lost) ** 2 for point in far)
    if lost <= 0.0 or not _is_worth_saying(far, left):
        return ""
    return (
        f"The errors are those of a lens that keeps {100.0 * lost:.0f} % of the signal off: dirt makes it "
        "read low, and the more so the hotter the target is. Wipe the lens with a soft dry cloth and check "
        "it again, as left. If that changes nothing, use it with its corrections or have it repaired."
    )


def infrared_opinions(settings: InfraredSettings, points: Sequence[CertifiedShots]) -> tuple[str, ...]:
    """Opinions for the certificate: what to look at first."""
    adjustment = adjustment_of(settings, points)
    words = lens_words(settings, points) if adjustment is None else adjustment.words
    return (words,) if words else ()


def words_where_not_decided(settings: InfraredSettings) -> str:
    """What decides more than the target that a check was done at, where that left its verdict open."""
    better = _BETTER_TARGETS[settings.target]
    by_hand = "" if settings.station else " A probe that the bench reads decides more than one read by hand."
    return f"The limit lies inside the uncertainty of this target. {better}{by_hand} So does a wider limit."


def _share_lost(settings: InfraredSettings, point: CertifiedShots) -> float:
    """Share of the signal that is missing in what was shown; what comes instead is of the room. [1]"""
    law = settings.law
    room = law.signal(settings.air_c)
    return 1.0 - (law.signal(point.shown_c) - room) / (law.signal(point.expected_c) - room)


def _error_left_k(settings: InfraredSettings, point: CertifiedShots, lost: float) -> float:
    law = settings.law
    room = law.signal(settings.air_c)
    seen = (1.0 - lost) * law.signal(point.expected_c) + lost * room
    return point.shown_c - law.temperature_c(seen)


def _is_true_as_far_as_can_be_told(points: Sequence[CertifiedShots]) -> bool:
    return all(abs(point.error_k) <= point.expanded_u_k for point in points)


def _is_worth_saying(points: Sequence[CertifiedShots], left: float) -> bool:
    """Whether what is left of the mean square error is little, and less than an offset would leave. [K²]"""
    errors_k = [point.error_k for point in points]
    whole = statistics.fmean(error_k**2 for error_k in errors_k)
    return left <= min((1.0 - _WORTH_SAYING) * whole, statistics.pvariance(errors_k))


def _setting_words(settings: InfraredSettings, in_force: float) -> str:
    """What to do about a setting that is not the one that was meant."""
    meant = settings.set_emissivity
    found = (
        f"The errors are those of a thermometer that works with an emissivity of {in_force:.2f} where "
        f"{meant:.2f} was meant. Look at its setting first: was it bumped? "
    )
    if in_force > meant:
        return (
            f"{found}If it does stand at {meant:.2f}, its lens may be dirty, which makes it read low: wipe "
            "it. Then check it again, as left."
        )
    return (
        f"{found}Set it back and check it again, as left. Dirt on its lens is not the cause: that makes it "
        f"read low. If it does stand at {meant:.2f}, use it with its corrections or have it repaired."
    )
