"""What an infrared check is started with, kept by value in its first event."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from calibration.conformity import DecisionRule
from calibration.infrared.emissivity import Shot, Surface
from calibration.infrared.errors import InfraredError
from calibration.infrared.handheld import Handheld
from calibration.infrared.infrared_point import IMMERSED_CAVITY, PAINTED_FACE, TAPED_FACE, TargetKind
from calibration.infrared.planck import RIG_SENSOR_BAND
from calibration.infrared.spot import accept_filling, accept_target, mm_text
from host.contact_reference import SENSOR_READING, SHOT, Taking
from host.registered_thermometer import handheld_of

#: Raised whenever code changes a number that a certificate depends on.
METHOD_VERSION = "2"

#: Targets by their word in a form.
TARGETS: Mapping[str, TargetKind] = {
    "painted_face": PAINTED_FACE,
    "immersed_cavity": IMMERSED_CAVITY,
    "taped_face": TAPED_FACE,
}
#: Narrower plates lose heat over their rim to within the spot. Assumed. [mm]
LEAST_PLATE_MM = 100.0
#: View of the rig's narrow sensor (data sheet of the MLX90614, package option F). [°]
RIG_VIEW_DEG = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InfraredSettings:
    """Settings of an infrared check.

    Attributes
    ----------
    item, customer, customer_contact, place, received, job, operator : str
    instrument : Mapping[str, Any]
        The thermometer as a register file has it, by value. Empty for the rig's own sensor.
    station : str
        Whose probe is the reference; empty where a contact thermometer is read by hand.
    reference : Mapping[str, Any]
        Register entry of that probe or contact thermometer, by value.
    target : str
        A word of `TARGETS`.
    surface_emissivity, surface_half_width : float
        Of the target's face.
    surface_words : str
        Whose word that is.
    target_mm, distance_mm : float
        Width of the target, and how far the thermometer is held from it. [mm]
    set_emissivity : float
        What the thermometer is set to; of the rig's own sensor, what its cell said when the check began.
    air_c, surroundings_half_width_k : float
        Air beside the target and what it mirrors. [°C], [K]
    set_points_c : tuple[float, ...]
        [°C]
    rule : str
        Decision rule, a word of `DecisionRule`.
    limit_k : float or None
        Limit in place of the maker's accuracy. [K]
    as_left_of : int or None
        Run of the same thermometer as it was found.
    done : str
        What was done to it in between.
    simulated : bool
    method_version : str
    """

    item: str
    instrument: Mapping[str, Any]
    reference: Mapping[str, Any]
    target: str
    surface_emissivity: float
    surface_half_width: float
    surface_words: str
    target_mm: float
    distance_mm: float
    set_emissivity: float
    air_c: float
    set_points_c: tuple[float, ...]
    surroundings_half_width_k: float = 3.0
    station: str = ""
    rule: str = DecisionRule.GUARDED.value
    limit_k: float | None = None
    customer: str = ""
    job: str = ""
    operator: str = ""
    as_left_of: int | None = None
    done: str = ""
    simulated: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    customer_contact: str = ""
    place: str = ""
    received: str = ""
    method_version: str = METHOD_VERSION

    @property
    def is_rig_sensor(self) -> bool:
        """Whether the rig's own sensor is checked: nobody types what it says."""
        return not self.instrument

    @property
    def taking(self) -> Taking:
        """What is taken of the target: a handheld is shot, the sensor of a rig is read."""
        return SENSOR_READING if self.is_rig_sensor else SHOT

    @property
    def thermometer_words(self) -> str:
        """Which thermometer it is, by what tells it from others."""
        if self.is_rig_sensor:
            return f"the infrared sensor of {self.station}"
        return f"thermometer {self.instrument['serial']}"

    @property
    def handheld(self) -> Handheld:
        """The thermometer of the register or as entered."""
        return handheld_of(self.instrument)

    @property
    def law(self) -> Any:
        """Radiation law of its band."""
        return RIG_SENSOR_BAND if self.is_rig_sensor else self.handheld.band

    @property
    def asks_by_size(self) -> bool:
        """Whether a shot is asked about by its size too: a log of before has no answer to that."""
        return self.method_version != "1"

    @property
    def resolution_k(self) -> float:
        """Its last digit. [K]"""
        return 0.02 if self.is_rig_sensor else self.handheld.thermometer.resolution_k

    @property
    def kind(self) -> TargetKind:
        """How the target is built, with the face that was chosen."""
        face = Surface(emissivity=self.surface_emissivity, half_width=self.surface_half_width)
        return replace(TARGETS[self.target], surface=face)

    @property
    def shot(self) -> Shot:
        """How every shot is taken."""
        return Shot(
            set_emissivity=self.set_emissivity,
            surroundings_c=self.air_c,
            surroundings_half_width_k=self.surroundings_half_width_k,
        )

    def accept_plate(self) -> None:
        """Refuse a plate that is too narrow to be even over the spot.

        Raises
        ------
        InfraredError
            If it is; a cavity may be narrower.
        """
        if self.target != "immersed_cavity" and self.target_mm < LEAST_PLATE_MM:
            raise InfraredError(
                f"A plate of {self.target_mm:g} mm is colder at its rim than where its probe is: it needs "
                f"{LEAST_PLATE_MM:g} mm or more across. Take a wider plate, or a cavity in the bath."
            )

    def accept_spot(self) -> str:
        """Words on the spot, refused where the target is too small.

        Raises
        ------
        InfraredError
            If the target does not fill the view.
        """
        if self.is_rig_sensor:
            share = accept_filling(
                view_deg=RIG_VIEW_DEG, distance_mm=self.distance_mm, target_mm=self.target_mm
            )
            return (
                f"the target of {self.target_mm:g} mm at {self.distance_mm:g} mm fills "
                f"{100.0 * share:.1f} % of a view of {RIG_VIEW_DEG:g}°"
            )
        spot_mm = accept_target(self.handheld.optics, distance_mm=self.distance_mm, target_mm=self.target_mm)
        return f"spot of {mm_text(spot_mm)} at {self.distance_mm:g} mm, target {self.target_mm:g} mm across"

    def limit_at_k(self, shown_c: float) -> float | None:
        """Largest error that maker or shop allows; None where neither says anything. [K]"""
        if self.limit_k is not None or self.is_rig_sensor:
            return self.limit_k
        return self.handheld.thermometer.limit_at_k(shown_c)

    def as_json(self) -> dict[str, Any]:
        """For the first event."""
        return asdict(self)

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> "InfraredSettings":
        """From the first event."""
        kept = {name: content[name] for name in cls.__dataclass_fields__ if name in content}
        kept["set_points_c"] = tuple(float(point) for point in kept["set_points_c"])
        return cls(**kept)
