"""One temperature shown in the vehicle: where it was read, and what the computer looked at."""

from dataclasses import dataclass
from enum import StrEnum

from calibration.errors import CalibrationError


class Place(StrEnum):
    """What the computer looked at."""

    AT_COMPUTER = "box at the computer's connector"
    AT_SENDER_PLUG = "box at the sender's plug"
    SENDER_FITTED = "sender fitted"


class Display(StrEnum):
    """Where the temperature was read."""

    SCAN_DATA = "scan data"
    GAUGE = "dash gauge"


class SubstitutionError(CalibrationError):
    """Values shown that do not part anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownValue:
    """One value shown.

    Attributes
    ----------
    place : Place
    display : Display
    shown_c : float
        [°C]
    u_shown_k : float
        Standard uncertainty of reading it: 0.29 K where whole degrees Celsius are shown, 0.16 K for whole
        degrees Fahrenheit (half a step over the root of three). [K]
    resistance_ohm, u_resistance_ohm : float or None
        Of the box with its leads; None with the sender fitted. [Ω]
    true_c, u_true_k : float or None
        Of the coolant at the sender; None with the box. [°C], [K]
    """

    place: Place
    display: Display
    shown_c: float
    u_shown_k: float
    resistance_ohm: float | None = None
    u_resistance_ohm: float = 0.0
    true_c: float | None = None
    u_true_k: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a value whose cause is not said."""
        with_box = self.place is not Place.SENDER_FITTED
        if with_box and (self.resistance_ohm is None or not self.resistance_ohm > 0.0):
            raise SubstitutionError(f"{self.place}: say what the box was set to, in ohms above zero.")
        if not with_box and self.true_c is None:
            raise SubstitutionError("Sender fitted: say how hot the coolant truly was beside the sender.")
        if not self.u_shown_k > 0.0:
            raise SubstitutionError(
                "Every value shown has an uncertainty above zero, if only that of its last digit."
            )
