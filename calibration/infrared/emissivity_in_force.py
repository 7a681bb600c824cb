"""Which emissivity a thermometer must really be set to, or be given, for it to show what it showed."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.infrared.emissivity import LOWEST_EMISSIVITY, Shot, Surface
from calibration.infrared.errors import InfraredError
from calibration.infrared.radiation_law import RadiationLaw

#: So near to what the surface mirrors an emissivity hardly changes what is shown. [K]
LEAST_CONTRAST_K = 15.0
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownOfFace:
    """What was shown of a face at a known temperature. [°C]"""

    face_c: float
    shown_c: float


def emissivity_in_force(
    seen: ShownOfFace, *, surface: Surface, shot: Shot, law: RadiationLaw
) -> float | None:
    """Emissivity at which a perfect thermometer would have shown this; None where none would.

    Solves e_set S(t_ind) + (1 - e_set) S(t_believed) = e S(t_s) + (1 - e) S(t_surr) for e_set (see
    `calibration.infrared.emissivity`).

    Parameters
    ----------
    seen : ShownOfFace
    surface : Surface
        Of the face.
    shot : Shot
        Surroundings, and what the thermometer takes for them; its setting is not looked at.
    law : RadiationLaw

    Raises
    ------
    InfraredError
        If the face is too near to its surroundings to tell.
    """
    if abs(seen.face_c - shot.surroundings_c) < LEAST_CONTRAST_K:
        raise InfraredError(
            f"A face of {seen.face_c:.0f} °C in surroundings of {shot.surroundings_c:.0f} °C tells nothing "
            f"of an emissivity: it needs a difference of {LEAST_CONTRAST_K:g} K or more."
        )
    comes = surface.emissivity * law.signal(seen.face_c)
    comes += (1.0 - surface.emissivity) * law.signal(shot.surroundings_c)
    believed = law.signal(shot.taken_off_c)
    above = law.signal(seen.shown_c) - believed
    setting = (comes - believed) / above if above != 0.0 else 0.0
    if not LOWEST_EMISSIVITY <= setting <= 1.0 + _ROUNDING:
        return None
    return min(setting, 1.0)


def common_emissivity(
    seen: Sequence[ShownOfFace], *, surface: Surface, shot: Shot, law: RadiationLaw
) -> float | None:
    """One emissivity that takes most of the errors of several set points off; None where none does.

    Raises
    ------
    InfraredError
        If no face is far enough from its surroundings.
    """
    far = [one for one in seen if abs(one.face_c - shot.surroundings_c) >= LEAST_CONTRAST_K]
    if not far:
        raise InfraredError(
            "No set point is far enough from the surroundings to tell of an emissivity: go hotter."
        )
    found = [emissivity_in_force(one, surface=surface, shot=shot, law=law) for one in far]
    settings = [setting for setting in found if setting is not None]
    return statistics.fmean(settings) if len(settings) == len(found) else None
