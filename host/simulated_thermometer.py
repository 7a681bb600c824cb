"""An infrared thermometer that exists in simulation only, with the faults that real ones have.

It is shot by simulated hands. What judges sees its display alone.
"""

from dataclasses import dataclass, replace

import numpy as np

from calibration.infrared.emissivity import Shot, Surface, reading_c
from host.procedures.infrared.infrared_settings import InfraredSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedThermometer:
    """A thermometer and the target it is shot at, as they truly are.

    Attributes
    ----------
    offset_k : float
        Drift of its electronics, the same everywhere. [K]
    bumped_to : float or None
        Emissivity its switch really stands at; None: as everybody believes.
    lens_lost : float
        Share of the signal that dirt on its lens keeps off; dirt is as warm as the room. [1]
    noise_k : float
        Standard deviation of one shot. [K]
    face_share : float
        By what share of (t - t_air) the face of the target is colder than its probe. [1]
    face_emissivity_off : float
        True emissivity of the face beside the one believed.
    beside_share : float
        Share of the signal that comes from beside the target. [1]
    body_apart_k : float
        How much warmer its body is than the room. [K]
    seed : int
    """

    offset_k: float = 0.0
    bumped_to: float | None = None
    lens_lost: float = 0.0
    noise_k: float = 0.1
    face_share: float = 0.004
    face_emissivity_off: float = 0.0
    beside_share: float = 0.003
    body_apart_k: float = 1.0
    seed: int = 1

    def shows_c(self, settings: InfraredSettings, probe_c: float, *, shot: int) -> float:
        """What its display shows of the target of a check, rounded as displays round. [°C]

        Parameters
        ----------
        settings : InfraredSettings
        probe_c : float
            True temperature at the probe of the target. [°C]
        shot : int
            Number of the shot: its noise follows from it.
        """
        law, air_c = settings.law, settings.air_c
        face_c = probe_c - self.face_share * (probe_c - air_c)
        emissivity = min(settings.surface_emissivity + self.face_emissivity_off, 1.0)
        # Dirt and what lies beside mirror and send as the room does: the face has that much less of itself.
        lost = 1.0 - (1.0 - self.lens_lost) * (1.0 - self.beside_share)
        seen = Surface(emissivity=emissivity * (1.0 - lost))
        stands_at = settings.set_emissivity if self.bumped_to is None else self.bumped_to
        taken = Shot(set_emissivity=stands_at, surroundings_c=air_c, believed_c=air_c + self.body_apart_k)
        shown_c = reading_c(face_c, surface=seen, shot=taken, law=law) + self.offset_k
        shown_c += self.noise_k * float(np.random.default_rng([self.seed, shot]).standard_normal())
        step_k = settings.resolution_k
        return round(round(shown_c / step_k) * step_k, 6)

    def mended(self) -> "SimulatedThermometer":
        """The same with its switch set back and its lens wiped; a drift stays."""
        return replace(self, bumped_to=None, lens_lost=0.0)


#: The one of a simulated bench: in use for some years, and read by hand.
USED_THERMOMETER = SimulatedThermometer(offset_k=0.8, lens_lost=0.01)
