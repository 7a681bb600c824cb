"""A handheld infrared thermometer as the register keeps it."""

from dataclasses import dataclass

from calibration.corrected_thermometer import CorrectedThermometer
from calibration.infrared.errors import InfraredError
from calibration.infrared.planck import PlanckBand
from calibration.infrared.spot import Optics


@dataclass(frozen=True, slots=True, kw_only=True)
class Handheld:
    """An infrared thermometer that is held in the hand.

    Attributes
    ----------
    thermometer : CorrectedThermometer
        Corrections hold for a black target, or for its certificate's emissivity setting.
    fixed_emissivity : float or None
        What it is set to for good; None where it can be set.
    optics : Optics
    band : PlanckBand
    """

    thermometer: CorrectedThermometer
    fixed_emissivity: float | None
    optics: Optics
    band: PlanckBand

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
