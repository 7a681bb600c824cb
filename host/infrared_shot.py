"""One shot of an infrared thermometer, as a person types it, corrected both ways."""

from dataclasses import dataclass
from enum import StrEnum

from calibration.infrared.emissivity import Shot, Surface, reading_budget, true_budget
from calibration.infrared.planck import EIGHT_TO_FOURTEEN_UM, RIG_SENSOR_BAND, PlanckBand
from calibration.infrared.spot import Optics, accept_target, size_of_source_line
from calibration.infrared.surfaces import SINGLE_VALUE_HALF_WIDTH, known_surface
from calibration.uncertainty.budget import Budget, BudgetLine
from calibration.uncertainty.line import normal, rectangular
from host.errors import DeskError
from host.quantity import emissivity_of

#: Standard uncertainty of a handheld as bought, where its certificate is not given. Assumed. [K]
ASSUMED_U_READING_K = 1.0
#: Surroundings as a person guesses them, half-width. Assumed. [K]
ASSUMED_SURROUNDINGS_HALF_WIDTH_K = 5.0
#: The last digit of most handhelds. [K]
RESOLUTION_K = 0.1


class Thermometer(StrEnum):
    """Which band is looked through."""

    HANDHELD = "handheld"
    RIG = "rig"

    @property
    def band(self) -> PlanckBand:
        """Its band; the rig's is from memory of the sensor's data sheet."""
        return EIGHT_TO_FOURTEEN_UM if self is Thermometer.HANDHELD else RIG_SENSOR_BAND


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedSurface:
    """A surface as it was typed, and whose word its emissivity is.

    Attributes
    ----------
    surface : Surface
    words : str
        Value and source, for a person.
    """

    surface: Surface
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedShot:
    """All that was typed of one shot.

    Attributes
    ----------
    surface : TypedSurface
    shot : Shot
    band : PlanckBand
        Of the thermometer.
    u_reading_k : float
        Standard uncertainty of the reading. [K]
    """

    surface: TypedSurface
    shot: Shot
    band: PlanckBand
    u_reading_k: float

    @property
    def believed_words(self) -> str:
        """What the thermometer takes for the surroundings and whose word that is, for a person."""
        shot = self.shot
        if shot.believed_c is None:
            assumed = shot.believed_half_width_k is None
            whose = "assumed by common practice, no single source" if assumed else "as stated"
            return (
                "The thermometer takes its own body for the surroundings, as warm as what the\n"
                f"surface mirrors ± {shot.taken_off_half_width_k:g} K ({whose})."
            )
        return (
            f"The thermometer takes {shot.believed_c:.4g} ± {shot.taken_off_half_width_k:g} °C for the "
            "surroundings (as stated)."
        )

    def true_from(self, reading_c: float) -> Budget:
        """The surface's temperature from a reading. [°C]"""
        law, surface = self.band, self.surface.surface
        # The spot's surroundings are what stands beside the target: as warm as what it mirrors.
        first = true_budget(reading_c, surface=surface, shot=self.shot, law=law, thermometer=self._lines())
        beside = size_of_source_line(surface_c=first.estimate, beside_c=self.shot.surroundings_c, law=law)
        return true_budget(
            reading_c,
            surface=surface,
            shot=self.shot,
            law=law,
            thermometer=self._lines(),
            others=(beside,),
        )

    def reading_from(self, true_c: float) -> Budget:
        """What the thermometer shows of a surface at a true temperature. [°C]"""
        law = self.band
        beside = size_of_source_line(surface_c=true_c, beside_c=self.shot.surroundings_c, law=law)
        return reading_budget(
            true_c,
            surface=self.surface.surface,
            shot=self.shot,
            law=law,
            thermometer=self._lines(),
            others=(beside,),
        )

    def _lines(self) -> tuple[BudgetLine, BudgetLine]:
        return (
            normal("thermometer", 0.0, "K", self.u_reading_k, 1.0),
            rectangular("last digit", 0.0, "K", RESOLUTION_K / 2.0, 1.0),
        )


def typed_surface(text: str, half_width: float | None) -> TypedSurface:
    """A surface written as its emissivity, or by a name of the table.

    Raises
    ------
    QuantityError
        If it begins like a number and is no emissivity.
    InfraredError
        If there is no surface of that name, or it is a mirror.
    """
    if text.lstrip("+-. ")[:1].isdigit():
        emissivity = emissivity_of(text)
        width = SINGLE_VALUE_HALF_WIDTH if half_width is None else half_width
        word = "assumed" if half_width is None else "as stated"
        return TypedSurface(
            surface=Surface(emissivity=emissivity, half_width=width),
            words=f"emissivity {emissivity:g} ± {width:g} ({word})",
        )
    row = known_surface(text)
    surface = row.surface
    if half_width is not None:
        surface = Surface(emissivity=surface.emissivity, half_width=half_width)
    return TypedSurface(
        surface=surface,
        words=f"{row.name}: emissivity {surface.emissivity:g} ± {surface.half_width:g} ({row.source})",
    )


def check_target(ratio: float | None, distance_mm: float | None, target_mm: float | None) -> str:
    """Words on the spot, where the shot was said in full; empty where nothing was said.

    Raises
    ------
    DeskError
        If only a part was said.
    InfraredError
        If the target is too small.
    """
    given = [part is not None for part in (ratio, distance_mm, target_mm)]
    if not any(given):
        return ""
    if ratio is None or distance_mm is None or target_mm is None:
        raise DeskError("To check the spot give all of --ratio, --distance-mm and --target-mm.")
    spot_mm = accept_target(Optics(distance_to_spot=ratio), distance_mm=distance_mm, target_mm=target_mm)
    return f"The spot is {spot_mm:.3g} mm wide on a target of {target_mm:g} mm: wide enough."
