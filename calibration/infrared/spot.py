"""How large a spot an infrared thermometer sees, and how large its target must be."""

import math
from dataclasses import dataclass

from calibration.infrared.errors import InfraredError
from calibration.infrared.radiation_law import RadiationLaw
from calibration.uncertainty.budget import BudgetLine
from calibration.uncertainty.line import rectangular

#: The target must be at least this many spots wide: makers print the spot for 90 % or 95 % of the signal.
TARGET_SPOTS = 2.0

#: The rig's sensor looks closely: this share of its view must be filled.
FILLED_SHARE = 0.995

#: Signal that still comes from beside a target of two spots, at most. Common practice, no single source.
OUTSIDE_SHARE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Optics:
    """View of a handheld thermometer.

    Attributes
    ----------
    distance_to_spot : float
        As printed on it: 12 for 12 : 1.
    smallest_spot_mm : float
        Closer than this the spot does not get smaller. [mm]
    """

    distance_to_spot: float
    smallest_spot_mm: float = 0.0

    def __post_init__(self) -> None:
        if not (0.0 < self.distance_to_spot < math.inf and 0.0 <= self.smallest_spot_mm < math.inf):
            raise InfraredError("The distance-to-spot ratio is printed on the thermometer: 12 for 12 : 1.")

    def spot_mm(self, distance_mm: float) -> float:
        """Diameter of the spot. [mm]

        Raises
        ------
        InfraredError
            If the distance is not above zero.
        """
        if not 0.0 < distance_mm < math.inf:
            raise InfraredError("The distance to the target must be above zero.")
        return max(distance_mm / self.distance_to_spot, self.smallest_spot_mm)


def accept_target(optics: Optics, *, distance_mm: float, target_mm: float) -> float:
    """Spot on a target that is large enough. [mm]

    Parameters
    ----------
    optics : Optics
    distance_mm, target_mm : float
        To the target, and its width. [mm]

    Raises
    ------
    InfraredError
        If the target is narrower than two spots; says how close would do.
    """
    if not 0.0 < target_mm < math.inf:
        raise InfraredError("The width of the target must be above zero: measure it across.")
    spot_mm = optics.spot_mm(distance_mm)
    needed_mm = TARGET_SPOTS * spot_mm
    if target_mm >= needed_mm:
        return spot_mm
    raise InfraredError(
        f"At {mm_text(distance_mm)} the spot is {mm_text(spot_mm)} wide and needs a target of "
        f"{mm_text(needed_mm)}; this one has {mm_text(target_mm)}. {_next_step(optics, target_mm)}"
    )


def mm_text(length_mm: float) -> str:
    """A length as a ruler says it: three digits, and never fewer than it has whole millimetres. [mm]"""
    return f"{length_mm:.0f} mm" if length_mm >= 100.0 else f"{length_mm:.3g} mm"


def _next_step(optics: Optics, target_mm: float) -> str:
    if target_mm < TARGET_SPOTS * optics.smallest_spot_mm:
        return f"Choose a place at least {mm_text(TARGET_SPOTS * optics.smallest_spot_mm)} wide."
    nearest_mm = target_mm / TARGET_SPOTS * optics.distance_to_spot
    return f"Go as close as {mm_text(nearest_mm)} or closer, or choose a wider place."


def filled_share(*, view_deg: float, distance_mm: float, target_mm: float) -> float:
    """Share of a bare sensor's signal that comes from a round target straight before it.

    Parameters
    ----------
    view_deg : float
        Full angle between the directions of half sensitivity. [°]
    distance_mm, target_mm : float
        Distance and diameter. [mm]

    Raises
    ------
    InfraredError
        If one of them is not above zero, or the view is 180° or more.

    Notes
    -----
    The sensitivity is taken as a power of the cosine, the simplest pattern with that width: a model, not a
    maker's curve.
    """
    if not (0.0 < view_deg < 180.0 and distance_mm > 0.0 and target_mm > 0.0):
        raise InfraredError("View, distance and target must be above zero, and the view below 180°.")
    power = math.log(0.5) / math.log(math.cos(math.radians(view_deg / 2.0)))
    edge = math.atan2(target_mm / 2.0, distance_mm)
    return float(1.0 - math.cos(edge) ** (power + 1.0))


def accept_filling(*, view_deg: float, distance_mm: float, target_mm: float) -> float:
    """Share of the signal from a target that fills a bare sensor's view.

    Parameters
    ----------
    view_deg, distance_mm, target_mm : float
        As for `filled_share`. [°], [mm], [mm]

    Raises
    ------
    InfraredError
        If it is less than `FILLED_SHARE`.
    """
    share = filled_share(view_deg=view_deg, distance_mm=distance_mm, target_mm=target_mm)
    if share >= FILLED_SHARE:
        return share
    raise InfraredError(
        f"A plate of {mm_text(target_mm)} at {mm_text(distance_mm)} fills {100 * share:.1f} % of a "
        f"{view_deg:g}° view; {100 * FILLED_SHARE:g} % are needed. Use the narrow sensor, a larger plate, or "
        "go closer."
    )


def size_of_source_line(
    *, surface_c: float, beside_c: float, law: RadiationLaw, outside_share: float = OUTSIDE_SHARE
) -> BudgetLine:
    """Budget line of what the thermometer sees beside its target. [K]

    Parameters
    ----------
    surface_c, beside_c : float
        The target, and what stands beside it. [°C]
    law : RadiationLaw
    outside_share : float
        Largest share of the signal that comes from beside.
    """
    missing = outside_share * (law.signal(surface_c) - law.signal(beside_c))
    return rectangular("size of source", 0.0, "K", missing / law.slope_per_k(surface_c), 1.0)
