"""Resistance at no power: read at two duties, drawn back along the power to none (IEC 60539-1).

At a settled bath the device stands ``P/delta`` above the water, with P its mean power and delta its
dissipation factor. Two duties give two powers, and a straight line through both readings gives the
resistance at none and delta itself. Read low, high, low, so that a steady drift of the bath falls out.
"""

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError
from calibration.resistance.excitation import Excitation
from calibration.resistance.self_heating import SelfHeating

#: Powers must differ by this factor at least, or the line back to none is longer than it is known.
LEAST_POWER_RATIO = 2.0

#: A warming counts as found beyond this many standard uncertainties.
FOUND_AT = 2.0

#: A cooling under power is scatter up to so many standard uncertainties.
SCATTER_UP_TO = 3.0


class ZeroPowerError(CalibrationError):
    """Two duties that give no line back to no power."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyReading:
    """Mean resistance read at one duty, the bath standing still.

    Attributes
    ----------
    resistance_ohm, standard_u_ohm : float
        [Ω]
    excitation : Excitation
        With the duty it was read at.
    """

    resistance_ohm: float
    standard_u_ohm: float
    excitation: Excitation

    @property
    def power_w(self) -> float:
        """Mean power in the device. [W]"""
        return self.excitation.mean_power_w(self.resistance_ohm)


@dataclass(frozen=True, slots=True, kw_only=True)
class ZeroPower:
    """What two duties tell.

    Attributes
    ----------
    resistance_ohm, standard_u_ohm : float
        At no power. [Ω]
    conductance_k_per_w, u_conductance_k_per_w : float
        Warming per power, 1/delta. [K/W]
    dissipation_w_per_k : float or None
        Dissipation factor delta; None where no warming was found. [W/K]
    u_dissipation_w_per_k : float or None
        Its standard uncertainty. [W/K]
    least_dissipation_w_per_k : float
        No smaller than this, at two standard uncertainties. [W/K]
    """

    resistance_ohm: float
    standard_u_ohm: float
    conductance_k_per_w: float
    u_conductance_k_per_w: float
    dissipation_w_per_k: float | None
    u_dissipation_w_per_k: float | None
    least_dissipation_w_per_k: float

    def rise_k(self, power_w: float) -> tuple[float, float]:
        """Warming at a mean power, and its standard uncertainty. [K]

        The dissipation factor is taken to be the same at every temperature of the bath.
        """
        return self.conductance_k_per_w * power_w, self.u_conductance_k_per_w * power_w

    def self_heating(self, power_w: float) -> SelfHeating:
        """Warming as a budget takes it: a rectangle of the same standard uncertainty. [K]"""
        rise_k, u_k = self.rise_k(power_w)
        return SelfHeating(rise_k=rise_k, half_width_k=math.sqrt(3.0) * u_k)


def zero_power(
    low: DutyReading,
    high: DutyReading,
    *,
    sensitivity_k_per_ohm: float,
    covariance_ohm2: float = 0.0,
    bath_change_k: float = 0.0,
    u_bath_change_k: float = 0.0,
) -> ZeroPower:
    """Draw two readings back to no power.

    Parameters
    ----------
    low, high : DutyReading
        For example at 20 % and 100 % duty, in the same range.
    sensitivity_k_per_ohm : float
        Slope of the sender's curve there, negative. [K/Ω]
    covariance_ohm2 : float
        What both readings share: box and correction. It cancels in the difference. [Ω²]
    bath_change_k, u_bath_change_k : float
        How much warmer the probe found the bath at ``high``, and the standard uncertainty of that. [K]

    Raises
    ------
    ZeroPowerError
        If the powers lie too near, or the device cools under power beyond what uncertainty allows.
    """
    power_low, power_high = low.power_w, high.power_w
    if not power_high >= LEAST_POWER_RATIO * power_low > 0.0:
        raise ZeroPowerError(
            f"The two powers, {1e3 * power_low:.3g} and {1e3 * power_high:.3g} mW, must differ by a factor "
            f"of {LEAST_POWER_RATIO:g} at least. Read once at 20 % and once at 100 % duty."
        )
    share = power_low / (power_high - power_low)
    drift_ohm = bath_change_k / sensitivity_k_per_ohm
    fall_ohm = high.resistance_ohm - drift_ohm - low.resistance_ohm
    u_fall_ohm = _u_of_difference(low, high, covariance_ohm2, u_bath_change_k / sensitivity_k_per_ohm)
    variance = (
        (1.0 + share) ** 2 * low.standard_u_ohm**2
        + share**2 * (high.standard_u_ohm**2 + (u_bath_change_k / sensitivity_k_per_ohm) ** 2)
        - 2.0 * (1.0 + share) * share * covariance_ohm2
    )
    per_power = sensitivity_k_per_ohm / (power_high - power_low)
    conductance, u_conductance = fall_ohm * per_power, abs(u_fall_ohm * per_power)
    if conductance < -SCATTER_UP_TO * u_conductance:
        raise ZeroPowerError(
            f"The sender reads {abs(fall_ohm * sensitivity_k_per_ohm):.3f} K colder at the higher power, "
            "more than the readings scatter: the bath moved. Wait until it stands, then read low, high, low."
        )
    found = conductance > FOUND_AT * u_conductance
    upper = conductance + FOUND_AT * u_conductance
    return ZeroPower(
        resistance_ohm=low.resistance_ohm - share * fall_ohm,
        standard_u_ohm=math.sqrt(max(variance, 0.0)),
        conductance_k_per_w=conductance,
        u_conductance_k_per_w=u_conductance,
        dissipation_w_per_k=1.0 / conductance if found else None,
        u_dissipation_w_per_k=u_conductance / conductance**2 if found else None,
        least_dissipation_w_per_k=1.0 / upper if upper > 0.0 else math.inf,
    )


def _u_of_difference(
    low: DutyReading, high: DutyReading, covariance_ohm2: float, u_drift_ohm: float
) -> float:
    variance = low.standard_u_ohm**2 + high.standard_u_ohm**2 - 2.0 * covariance_ohm2 + u_drift_ohm**2
    if variance < 0.0:
        raise ZeroPowerError(
            "The covariance of the two readings is larger than their own uncertainties allow. Check it."
        )
    return math.sqrt(variance)
