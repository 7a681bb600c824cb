"""A handheld infrared thermometer as the register keeps it."""

from dataclasses import dataclass

from calibration.corrected_thermometer import CorrectedThermometer
from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import PlanckBand
from calibration.infrared.spot import Optics

#: Displays take an emissivity to two places, some to three (common practice); half of the last of those. [1]
_SAME_SETTING = 0.0005


@dataclass(frozen=True, slots=True, kw_only=True)
class Handheld:
    """An infrared thermometer that is held in the hand.

    Attributes
    ----------
    thermometer : CorrectedThermometer
        Its corrections hold for the setting they were certified at.
    fixed_emissivity : float or None
        What it is set to for good; None where it can be set.
    certified_emissivity : float or None
        Setting that its corrections hold for; None where it has none, or nobody wrote it down.
    optics : Optics
    band : PlanckBand
    """

    thermometer: CorrectedThermometer
    fixed_emissivity: float | None
    optics: Optics
    band: PlanckBand
    certified_emissivity: float | None = None

    def refusal_at(self, set_emissivity: float) -> str:
        """Why a reading with that setting cannot be corrected, with the next step; empty where it can.

        A setting is taken for the certified one where both are alike on a display of three places.
        """
        if self.fixed_emissivity not in (None, set_emissivity):
            return f"The emissivity of this thermometer is fixed at {self.fixed_emissivity:g}."
        if (
            self.certified_emissivity is None
            or abs(self.certified_emissivity - set_emissivity) < _SAME_SETTING
        ):
            return ""
        return (
            "The corrections of this thermometer hold with its emissivity set to "
            f"{self.certified_emissivity:g}, not {set_emissivity:g}. Set it to {self.certified_emissivity:g} "
            "and shoot again: the surface is corrected for afterwards. For another setting have it "
            "calibrated there."
        )

    @property
    def has_unknown_setting(self) -> bool:
        """Whether it has corrections of which nobody wrote down the setting they hold for."""
        no_setting = self.fixed_emissivity is None and self.certified_emissivity is None
        return no_setting and bool(self.thermometer.points)

    def set_to(self, wanted_emissivity: float) -> float:
        """Emissivity it stands at when somebody wants ``wanted_emissivity``.

        Raises
        ------
        InfraredError
            If it cannot be set to that.
        """
        if self.fixed_emissivity is None or self.fixed_emissivity == wanted_emissivity:
            return wanted_emissivity
        raise InfraredError(
            f"This thermometer is fixed at an emissivity of {self.fixed_emissivity:g}: leave it there, and "
            "the reading is corrected for the surface afterwards."
        )
