"""What a person types on the vehicle, turned into readings with their uncertainty.

A display shows whole steps; behind scan data stands a sender with its own tolerance; a needle is read to a
width; a spot is corrected for the thermometer, the surface and what the surface mirrors.
"""

import math
import re
from dataclasses import dataclass

from calibration.corrected_thermometer import Correction
from calibration.curves import ReferenceCurve
from calibration.errors import CalibrationError
from calibration.infrared.emissivity import Shot
from calibration.temperature_scale import FAHRENHEIT_PER_K
from calibration.uncertainty.budget import rectangular_u
from calibration.vehicle.substitution import Allowances
from host.certificates.printed import signed_text
from host.infrared_shot import TypedShot, TypedSurface
from host.quantity import temperature_c_of
from host.spot_thermometer import SpotThermometer

_K = 2.0

#: How closely a needle is read, half-width. Assumed. [K]
NEEDLE_HALF_WIDTH_K = 2.0
#: What an engine bay around a warm engine is at, half-width beside what was typed; the thermometer in a hand
#: before it is no nearer to that. Assumed. [K]
SURROUNDINGS_HALF_WIDTH_K = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """A reading with its uncertainty.

    Attributes
    ----------
    temperature_c : float
        [°C]
    expanded_u_k : float
        k = 2. [K]
    u_display_k : float
        Standard uncertainty of reading the display alone. [K]
    typed, words : str
    """

    temperature_c: float
    expanded_u_k: float
    u_display_k: float
    typed: str
    words: str


def display_of(text: str) -> tuple[float, float]:
    """Temperature on a display, and the standard uncertainty of its last digit. [°C], [K]

    Raises
    ------
    QuantityError
        If it cannot be read.
    """
    temperature_c = temperature_c_of(text)
    places = len(re.sub(r"[^0-9.]", "", text).partition(".")[2])
    step_k = 10.0**-places / (FAHRENHEIT_PER_K if text.strip().upper().endswith("F") else 1.0)
    return temperature_c, rectangular_u(step_k / 2.0)


def scan_reading(text: str, curve: ReferenceCurve) -> TypedReading:
    """Scan data: the last digit, and the tolerance of a good sender behind it.

    Raises
    ------
    QuantityError
        If it cannot be read.
    """
    temperature_c, u_display_k = display_of(text)
    tolerance_k, said = _sender_tolerance(curve, temperature_c)
    return TypedReading(
        temperature_c=temperature_c,
        expanded_u_k=_K * math.hypot(u_display_k, rectangular_u(tolerance_k)),
        u_display_k=u_display_k,
        typed=text,
        words=f"as shown; a good sender is within {tolerance_k:.1f} K ({said})",
    )


def gauge_reading(text: str) -> TypedReading:
    """A needle on a scale with numbers.

    Raises
    ------
    QuantityError
        If it cannot be read.
    """
    temperature_c, u_display_k = display_of(text)
    u_display_k = math.hypot(u_display_k, rectangular_u(NEEDLE_HALF_WIDTH_K))
    return TypedReading(
        temperature_c=temperature_c,
        expanded_u_k=_K * u_display_k,
        u_display_k=u_display_k,
        typed=text,
        words=f"as read; a needle is read to ±{NEEDLE_HALF_WIDTH_K:g} K (assumed)",
    )


def spot_reading(
    text: str,
    *,
    surface: TypedSurface,
    set_emissivity: float,
    surroundings_c: float,
    thermometer: SpotThermometer,
) -> TypedReading:
    """A spot, corrected by the thermometer's certificate, for emissivity and for what the surface mirrors.

    Parameters
    ----------
    text : str
        As shown, with its unit.
    surface : TypedSurface
    set_emissivity : float
        What the thermometer is set to.
    surroundings_c : float
        What the surface mirrors. [°C]
    thermometer : SpotThermometer

    Raises
    ------
    QuantityError
        If it cannot be read.
    ThermometerError
        If neither certificate nor maker says anything of the thermometer there.
    InfraredError
        If the surface mirrors too much, or the surroundings alone would send more than was seen.
    """
    shown_c, u_display_k = display_of(text)
    own = thermometer.corrections.correction_at(shown_c)
    shot = TypedShot(
        surface=surface,
        shot=Shot(
            set_emissivity=set_emissivity,
            surroundings_c=surroundings_c,
            surroundings_half_width_k=SURROUNDINGS_HALF_WIDTH_K,
            believed_half_width_k=SURROUNDINGS_HALF_WIDTH_K,
        ),
        band=thermometer.band,
        u_reading_k=own.standard_u_k,
    )
    budget = shot.true_from(shown_c + own.correction_k)
    return TypedReading(
        temperature_c=budget.estimate,
        expanded_u_k=budget.expanded_u,
        u_display_k=u_display_k,
        typed=text,
        words=f"corrected by {_own_words(own, thermometer)} and by "
        f"{signed_text(budget.estimate - shown_c - own.correction_k, 1)} K for {surface.words}",
    )


def _own_words(own: Correction, thermometer: SpotThermometer) -> str:
    """The thermometer's own correction, and what it rests on where that is no certified point."""
    said = f"{signed_text(own.correction_k, 1)} K for {thermometer.cited}"
    return f"{said}, {own.words}," if own.words and thermometer.sha256 else said


def _sender_tolerance(curve: ReferenceCurve, temperature_c: float) -> tuple[float, str]:
    if curve.has_tolerance:
        try:
            return max(curve.limit_k(temperature_c, error_k) for error_k in (-0.1, 0.1)), "its curve"
        except CalibrationError:
            pass  # between the printed rows, or beyond them: the curve itself says nothing here
    return Allowances().sender_k, "assumed"
