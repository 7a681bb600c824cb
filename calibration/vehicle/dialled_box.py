"""The box that is dialled in front of the computer: bought by its tolerance, or with a certificate."""

import math
from dataclasses import dataclass
from typing import Protocol

from calibration.errors import CalibrationError
from calibration.resistance.decade_box import DecadeBoxCertificate
from calibration.uncertainty.budget import BudgetLine, Distribution, rectangular_u


class DialError(CalibrationError):
    """A temperature that this box cannot make a computer show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DialledBox:
    """A decade box as it is dialled by hand or by relays.

    Attributes
    ----------
    step_ohm : float
        Smallest step. [Ω]
    residual_ohm : float
        Resistance at zero, leads included. [Ω]
    tolerance_relative : float
        Half-width of what goes with the value; by default 1 %, as simple substitution boxes are sold. [1]
    tolerance_ohm : float
        Half-width of what does not: contacts and leads. Assumed where not given. [Ω]
    """

    step_ohm: float = 1.0
    residual_ohm: float = 0.0
    tolerance_relative: float = 0.01
    tolerance_ohm: float = 0.1

    def __post_init__(self) -> None:
        """Refuse what is no box."""
        if not 0.0 < self.step_ohm < math.inf:
            raise DialError(f"A decade box has no steps of {self.step_ohm:g} Ω. Give its smallest step.")
        stated = (self.residual_ohm, self.tolerance_relative, self.tolerance_ohm)
        if not all(0.0 <= part < math.inf for part in stated):
            raise DialError("Residual and tolerances of a decade box are numbers from zero on.")

    def nearest_setting_ohm(self, resistance_ohm: float) -> float:
        """Setting that comes nearest to a resistance. [Ω]"""
        return self.step_ohm * max(0, round((resistance_ohm - self.residual_ohm) / self.step_ohm))

    def true_ohm(self, setting_ohm: float) -> float:
        """Resistance at a setting. [Ω]"""
        return self.residual_ohm + setting_ohm

    def budget_lines(self, true_ohm: float, sensitivity_k_per_ohm: float) -> list[BudgetLine]:
        """What the box leaves open in the temperature shown."""
        return [
            rectangular_line("box: value", "Ω", self.tolerance_relative * true_ohm, sensitivity_k_per_ohm),
            rectangular_line("box: contacts and leads", "Ω", self.tolerance_ohm, sensitivity_k_per_ohm),
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedBox:
    """The bench's own box with its certificate, dialled in whole ohms.

    Attributes
    ----------
    certificate : DecadeBoxCertificate
    leads_ohm : float
        From the box's terminals to the plug, measured shorted. [Ω]
    u_leads_ohm : float
        Standard uncertainty of that. [Ω]
    """

    certificate: DecadeBoxCertificate
    leads_ohm: float = 0.0
    u_leads_ohm: float = 0.05

    @property
    def step_ohm(self) -> float:
        """Smallest step. [Ω]"""
        return 1.0

    def nearest_setting_ohm(self, resistance_ohm: float) -> float:
        """Setting that comes nearest to a resistance. [Ω]

        Raises
        ------
        DialError
            If the box does not reach that far.
        """
        # One step is kept in hand, so that the change with it can be said.
        highest = self.certificate.highest_ohm - 1
        if resistance_ohm > self.true_ohm(highest):
            raise DialError(
                f"{resistance_ohm:.5g} Ω are needed; this box reaches {self.true_ohm(highest):.5g} Ω. Show a "
                "warmer temperature, or take a larger box."
            )
        about = round(resistance_ohm - self.true_ohm(0))
        # The steps are off by a part in a thousand at most: look a little to both sides.
        reach = 2 + math.ceil(2e-3 * about)
        near = range(max(0, about - reach), min(highest, about + reach) + 1)
        return float(min(near, key=lambda setting: abs(self.true_ohm(setting) - resistance_ohm)))

    def true_ohm(self, setting_ohm: float) -> float:
        """Certified resistance at a setting, leads included. [Ω]"""
        return self.certificate.true_ohm(round(setting_ohm)) + self.leads_ohm

    def budget_lines(self, true_ohm: float, sensitivity_k_per_ohm: float) -> list[BudgetLine]:
        """What the certificate and the leads leave open in the temperature shown."""
        relative, fixed_ohm = self.certificate.relative_standard_u(), self.certificate.fixed_standard_u_ohm()
        return [
            _normal_line(
                "box: certificate", math.hypot(relative * true_ohm, fixed_ohm), sensitivity_k_per_ohm
            ),
            _normal_line("box: leads", self.u_leads_ohm, sensitivity_k_per_ohm),
        ]


class BoxOfSteps(Protocol):
    """What the dial table asks of a box."""

    @property
    def step_ohm(self) -> float:
        """Smallest step. [Ω]"""
        ...

    def nearest_setting_ohm(self, resistance_ohm: float) -> float:
        """Setting that comes nearest to a resistance. [Ω]"""
        ...

    def true_ohm(self, setting_ohm: float) -> float:
        """Resistance at a setting. [Ω]"""
        ...

    def budget_lines(self, true_ohm: float, sensitivity_k_per_ohm: float) -> list[BudgetLine]:
        """What the box leaves open in the temperature shown."""
        ...


def rectangular_line(quantity: str, unit: str, half_width: float, sensitivity: float) -> BudgetLine:
    """Budget line of a quantity equally likely within ± ``half_width``."""
    return BudgetLine(
        quantity=quantity,
        estimate=0.0,
        unit=unit,
        standard_u=rectangular_u(half_width),
        distribution=Distribution.RECTANGULAR,
        sensitivity=sensitivity,
    )


def _normal_line(quantity: str, standard_u_ohm: float, sensitivity_k_per_ohm: float) -> BudgetLine:
    return BudgetLine(
        quantity=quantity,
        estimate=0.0,
        unit="Ω",
        standard_u=standard_u_ohm,
        distribution=Distribution.NORMAL,
        sensitivity=sensitivity_k_per_ohm,
    )
